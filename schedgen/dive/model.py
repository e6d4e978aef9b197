"""The pydantic model of a dive file. CONTRACT STUB: attribute names are fixed, validators to come.

`Duration`, `Power` ... are `Annotated[Quantity, ...]` from `schedgen.files.fields`, each parsing text.
"""
# class Dive (attributes as in the dive file; YAML key "for" -> attribute "for_", "only" -> only, "from" -> from_,
# "with" -> with_):
#
# Dive: format int; dive str; notes str|None; board str; start Start; site Site; vehicle Vehicle; pack Pack;
#       loads dict[str, Load]; schedule list[Line]; release Release; recovery Recovery;
#       field_changes list[FieldChange] = []; accept dict[str,str] = {}; bench str|None
# Start: trigger 'water'|'button'|'command'; planned Planned; deck_time Duration|None; armed_for Duration|None
# Site: latitude Number; longitude Number; depth Length; current Speed|None; water list[WaterRow]; air Air|None
# WaterRow: depth Length; temperature Temperature; salinity Number
# Air: temperature Temperature; sun bool
# Vehicle: mass Mass; volume Volume|None; weighed_in_water Weighed|None; ballast Ballast; frontal_area Area;
#       drag_coefficient Drag|None; rated_depth Length; housing Housing|None; antenna_height Length|None;
#       floats list[Float]=[]; centres Centres|None
# Weighed: without_ballast Mass; with_ballast Mass; salinity Number; temperature Temperature
# Ballast: mass Mass; density Density;   Drag: down Number; up Number
# Housing: outer_diameter, length, wall Length; material str
# Float: volume Volume; mass Mass; rated_depth Length;   Centres: of_mass Length; of_volume Length
# Pack: cell str|Cell mapping (raw dict for a cell file); series int; parallel int; charge Share|RestVoltage|After|None;
#       health Share|None; reserve Share|None; protection Protection|None; shed Voltage|None; release_below Voltage|None;
#       supplies Supplies|None; fuse Current|None; charged Planned|None; layout PackLayout|None
# RestVoltage: rest_voltage Voltage; rested Duration; temperature Temperature.  After: after str
# Protection: trip_current Current|None; low_cut Voltage|None
# Supplies: voltage Voltage; limit Current; efficiency Share; off_below Current|None; off_after Duration|None
# PackLayout: bore Length; spacing Length
# Load: wired_to str; count int=1; power Power; surge Surge|None; ready_after, close_before_off Duration|None;
#       stop StopRule|None; bitrate Rate|None; card Data|None; card_speed ByteRate|None; heat_limit Temperature|None;
#       role 'camera'|'light'|'fan'|'beacon'|'locator'|'other' (property `resolved_role` from the load's name when left out);
#       colour str|None; power_at list[PowerAt]=[]
# Surge: power Power; for_ Duration.   PowerAt: level Share; power Power
# StopRule (dataclass): kind 'output'|'after'|'power-loss'; output str|None; after_s float|None
# Line (one schedule line): load str; from_ When|None; until When|None; with_ str|None; lead Duration|None; trail Duration|None;
#       only Between|None; every Duration|None; for_ Duration|None; level Share|None
# Release: primary Actuator; backup Actuator|None; not_before When; latest When; without_water bool=False
# Actuator: kind 'burn wire'|'hot wire'|'motor'|'magnet'|'dissolving link'; at When|None; wired_to str|None; power Power|None;
#       measured_at Voltage|None; fire Duration|None; tries int=1; pause Duration|None; wire Wire|None; tested Tested|None;
#       parts_after Duration|None
# Wire: metal str; diameter, exposed Length.   Tested: parts_in Duration; salinity Number; temperature Temperature
# Recovery: wait Duration; prefer 'daylight'|'darkness'|'either'
# FieldChange: shift 'release'|None; step Duration|None; from_ int|None; to int|None; level str|None; values list[Share]|None
#
# class LoadedDive: dive: Dive; board: Board; cell: Cell; path: Path; places: mapping of dotted path -> Place
