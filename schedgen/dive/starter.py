"""The text of a new dive file: every key explained, and a `?` wherever only the user can know the value.

The reader refuses each `?` by name, so that nothing that decides the dive is ever filled in silently.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from schedgen.files.quantity import write_value

if TYPE_CHECKING:
    from schedgen.board.model import Board

_HEAD = """\
# A dive file. Replace every ? by what is true for this dive, then run: schedgen check FILE
# Values have units: 7.4 W, 90 min, 320 m. Forms: 7.4 W ± 5 %   20 min .. 2 h   about 7 W (a guess of +/- 30 %).
# Keys that begin with x- are free notes. Lines that begin with # are comments: take the # off to use one.
format: 1
dive: ?                         # a name, such as Gannet Hole, bait frame 2
# notes: anything
board: {board}

start:
  trigger: ?                    # water | button | command: what starts the controller's clock
  planned: ?                    # when, with its offset from UTC: 2027-05-11T07:15:00+01:00 ± 45 min
  # deck_time: 20 min .. 2 h    # button and command only: from the trigger to the splash
  # armed_for: 12 h             # how long it may stay armed on deck

site:
  latitude: ?                   # decimal degrees, north positive
  longitude: ?                  # decimal degrees, east positive
  depth: ?                      # of the bottom, as a range
  # current: 0.2 m/s            # surface drift while it waits
  water:                        # from the top down, the last row at the bottom; salinity is a bare number, 0 fresh
    - {{depth: 0 m, temperature: ?, salinity: ?}}
    - {{depth: ?, temperature: ?, salinity: ?}}
  air: {{temperature: ?, sun: ?}} # on deck; sun: yes | no

vehicle:
  mass: ?                       # in air, without ballast
  volume: ?                     # displaced, without ballast
  # instead of volume: weighed_in_water: {{without_ballast: ?, with_ballast: ?, salinity: ?, temperature: ?}}
  ballast: {{mass: ?, density: ?}} # cast iron about 7200 kg/m3, steel 7850, lead 11340, concrete 2300
  frontal_area: ?               # the shadow seen from straight below, frame included
  # drag_coefficient: {{down: 1.0 ± 20 %, up: 0.9 ± 20 %}}    # left out: 0.6 .. 1.5, guessed
  rated_depth: ?                # of the weakest part: housing, camera, light, float
  # housing: {{outer_diameter: 180 mm, length: 620 mm, wall: 12 mm, material: aluminium}}
  # antenna_height: 35 cm       # above the waterline, needed for the locator

pack:
  cell: ?                       # a cell of the library; list them with: schedgen library
  series: ?
  parallel: ?
  # charge: 98 %                # at the start; left out: 95 %
  # health: 94 % ± 3 %          # capacity left as a share of the label; left out: 60 % .. 80 %, guessed
  # reserve: 20 %               # unspent at the end; left out: 20 %
  # protection: {{trip_current: 20 A, low_cut: 2.8 V}}          # trip for the pack, cut for each cell
  # shed: 3.1 V                 # for each cell; left out: low_cut + 0.3 V
  # release_below: 2.95 V       # for each cell; left out: low_cut + 0.15 V
"""

_RELEASE = """
release:
  primary:
    kind: ?                     # burn wire | hot wire | motor | magnet | dissolving link
    at: ?                       # such as bottom + 9 h
    wired_to: {release}
    power: ?                    # while firing
    fire: ?                     # how long each try is powered
    # tries: 3                  # all always run; left out: 1
    # pause: 5 min              # between tries
    # wire: {{metal: steel, diameter: 0.6 mm, exposed: 4 mm}}
    # tested: {{parts_in: 4 min, salinity: 35, temperature: 12 degC}}    # measured; wins over the equation
  # backup: {{kind: dissolving link, parts_after: 24 h ± 30 %}}
  not_before: ?                 # never fires earlier: nobody may be near it before. Such as start + 3 h
  latest: ?                     # fires by then even after faults. Such as start + 14 h
  # without_water: yes          # lets it fire though the water contact was never wet

recovery:
  wait: ?                       # how long the beacon must last after the latest surfacing
  # prefer: daylight            # daylight | darkness | either

# field_changes:                # what the two buttons may change, on deck
#   - {{shift: release, step: 30 min, from: -2, to: 4}}

# accept:                       # findings that you take on, each with a reason
#   surfacing-in-the-dark: the boat stays all night
"""


def starter_text(board: Board) -> str:
    """The text of a new dive file for `board`: valid YAML that the reader refuses until each `?` is replaced."""
    plain = [name for name, output in board.outputs.items() if output.kind == "switched"]
    graded = [name for name, output in board.outputs.items() if output.kind == "level"]
    releases = [name for name, output in board.outputs.items() if output.kind == "release"]
    loads, lines = _loads(plain, graded)
    parts = [
        _HEAD.format(board=board.board),
        "\nloads:                          # what the outputs switch; delete what you do not have\n",
        *(f"  # {line}\n" for line in _outputs(board)),
        *loads,
        "\nschedule:                       # events: start splash bottom release surface end, each + or - a duration\n",
        *lines,
        _RELEASE.format(release=releases[0] if releases else "?"),
    ]
    return "".join(parts)


def _outputs(board: Board) -> list[str]:
    kinds = {"switched": "switched", "level": "with levels", "release": "for the release"}
    return [
        f"{name}: {kinds[output.kind]}, up to {write_value(output.limit.nominal, 'A')} from rail {output.rail}"
        for name, output in board.outputs.items()
    ]


def _loads(plain: list[str], graded: list[str]) -> tuple[list[str], list[str]]:
    """Lines of `loads` and of `schedule`, for as many loads as the board has outputs."""
    free = iter(plain)
    camera, beacon, locator = next(free, None), next(free, None), next(free, None)
    loads: list[str] = []
    lines: list[str] = []
    if camera:
        loads.append(_CAMERA.format(output=camera))
        lines.append(
            "  - {load: camera, from: ?, until: ?}       # such as from: bottom + 20 min, until: release - 5 min\n"
        )
        followers = (("lights", "lead: ?, level: ?"), ("fan", "trail: ?, level: ?"))
        for (name, text), output in zip(followers, graded, strict=False):
            loads.append(f"  {name}: {{wired_to: {output}, power: ?}}\n")
            lines.append(f"  - {{load: {name}, with: camera, {text}}}\n")
    if beacon:
        loads.append(f"  beacon: {{wired_to: {beacon}, power: ?}}    # a light to be seen; watts while lit\n")
        lines.append(
            "  - {load: beacon, from: release, until: end, every: ?, for: ?}     # such as every: 2 s, for: 100 ms\n"
        )
    if locator:
        loads.append(f"  locator: {{wired_to: {locator}, power: ?}}   # a radio or satellite unit\n")
        lines.append("  - {load: locator, from: release, until: end}\n")
    return loads, lines


_CAMERA = """\
  camera:
    wired_to: {output}
    power: ?                    # of all on this output, while on
    # surge: {{power: 12 W, for: 4 s}}          # total while starting
    # ready_after: 22 s         # power on until it records
    # close_before_off: 8 s     # from stopping until power may go
    # stop: on power loss       # how recording ends: an output that is pulsed | after 15 min | on power loss
    # bitrate: 60 Mbit/s
    # card: 256 GB
    # heat_limit: 55 degC
"""
