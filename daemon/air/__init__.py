"""Pure science of a cabin's air: floats in, floats out, a unit in every name.

`atmosphere` is the air outdoors; `combustion`, `breathing` and `cylinder` are what
takes from it and gives to it; `vents` and `surfaces` are the openings and cold panes;
`moisture` is water vapour, `blood` is carbon monoxide in the body.  `figures` says what
a cabin is where nobody states it, each figure once with its source.  `cabin` holds the
values that `zone` works on: the cabin as one mixed volume, by balances of gas and heat;
`readings` is what a sensor in it would show.

May be imported by: any folder.
"""
