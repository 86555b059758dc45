"""What every part may use, and all that a part may import from here.

`steps` is what a driver says to its shell, `quantity` the quantities, their physical
ranges and which protect life, `options` a part's options, `probe` how a part is
recognised. `crc`, `registers`, `words`, `frames`, `frame9` and `module9` are wire
formats; `ads1115`, `air_span`, `conditions`, `dust` and `gas_index` are what several
parts share.

May be imported by: any folder.
"""
