"""The bench lead: from a settings block in this computer to a block on a board that is proven to be there, and back.

`frames`     bytes on the line: COBS, CRC-16, the incremental decoder
`messages`   the protocol: its page, and the one table of requests and replies; `message` is one of them, as bytes
`c_side`     the same numbers for C: `c_constants()`
`client`     the asking side: repetitions, deadlines, refusals
`deck`       what commands call: look, upload, readback, arm, disarm, rename
`bench`      measure, pulse, play a dive, tell the last one; `trial` tries one output
`search`     which ports may have a board, who answers there; `why` none does
`ports`      a serial port by pyserial, the virtual board, `open_port`
`faults`     what the system says about a port, turned into the project's exceptions
`virtual`    the answering side, over `eeprom`, `holdings`, `essentials` and `plain`; `virtual_bench` its pack and loads
`store`      `virtual:FILE`; `serve` puts the virtual board on a pseudo-terminal
"""
