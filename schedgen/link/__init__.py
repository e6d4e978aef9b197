"""The bench lead: from a settings block in this computer to a block on a board that is proven to be there, and back.

`frames`     bytes on the line: COBS, CRC-16, the incremental decoder
`messages`   the protocol: its page, and the one table of requests and replies
`c_side`     the same numbers for C: `c_constants()`
`client`     the asking side: repetitions, deadlines, refusals
`deck`       what commands call: upload, readback, arm, disarm, rename
`ports`      a serial port by pyserial, the virtual board, `open_port`
`faults`     what the system says about a port, turned into the project's exceptions
`virtual`    the answering side, over `eeprom`, `holdings`, `essentials` and `plain`
`store`      `virtual:FILE`; `serve` puts the virtual board on a pseudo-terminal
"""
