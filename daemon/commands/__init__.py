"""One command a file: its options, its output, its exit code.

`cli` loads the file of the command that was asked for, by name, so that a start pays
for one command only.  The work itself is in the folder that has the command's subject.
`base` has what a command must offer and the options that many share; `on_wires` lends
real or emulated wires to `span`, `precheck` and `parts`.  `log` has three tasks, each
in a file of its own.

May be imported by: no folder.
"""
