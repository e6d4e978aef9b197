"""The settings block: one table of fields; encoder, decoder, slots; C header and hex files made from them.

`encode_for(plan, board)` gives `Settings`, `decode(block)` what a block says, `render(plan, board, settings)` files.
"""

from schedgen.settings.code import dive_code, same_code
from schedgen.settings.decode import decode
from schedgen.settings.encode import Settings, encode, encode_for
from schedgen.settings.meaning import DecodedDive
from schedgen.settings.render import render
from schedgen.settings.write import write

__all__ = ["DecodedDive", "Settings", "decode", "dive_code", "encode", "encode_for", "render", "same_code", "write"]
