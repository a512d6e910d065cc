r"""Symbols: which picture a station asks to be shown by (APRS101 chapter 20 and appendix 2; later ones from memory).

A symbol is two characters: `/` and a code from the primary table, `\` and a code from the alternate one, or an overlay
(a digit or capital letter drawn over the picture) and a code from the alternate table. The names are ours.
"""

PRIMARY, ALTERNATE = "/", "\\"
OVERLAYS = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ")
TABLES = OVERLAYS | {PRIMARY, ALTERNATE}
"""The first characters that a symbol can have."""

_PRIMARY_NAMES = """
! police station
" reserved
# digital repeater
$ telephone
% message cluster
& HF gateway
' small aircraft
( satellite ground station
) wheelchair
* snowmobile
+ first aid
, scouts
- house
. cross
/ dot
0 circle 0
1 circle 1
2 circle 2
3 circle 3
4 circle 4
5 circle 5
6 circle 6
7 circle 7
8 circle 8
9 circle 9
: fire
; campground
< motorcycle
= railway engine
> car
? file server
@ forecast hurricane position
A aid station
B bulletin board
C canoe
D reserved
E eyewitness
F farm vehicle
G locator square
H hotel
I network node
J reserved
K school
L computer user
M desktop computer
N traffic net station
O balloon
P police
Q reserved
R recreational vehicle
S space shuttle
T slow-scan television
U bus
V all-terrain vehicle
W weather service office
X helicopter
Y sailing yacht
Z desktop computer
[ person on foot
\\ direction finder
] mailbox
^ large aircraft
_ weather station
` dish antenna
a ambulance
b bicycle
c incident command post
d fire station
e horse and rider
f fire engine
g glider
h hospital
i island expedition
j off-road car
k truck
l laptop computer
m Mic-E repeater
n node
o emergency operations centre
p dog
q locator square
r repeater
s power boat
t truck stop
u articulated lorry
v van
w water station
x desktop computer
y directional antenna at a house
z shelter
{ reserved
| reserved
} reserved
~ reserved
"""

_ALTERNATE_NAMES = """
! emergency
" reserved
# digital repeater with overlay
$ bank
% power plant
& gateway
' crash site
( cloud
) fire weather
* snow
+ church
, scouts
- house on HF
. unknown position
/ waypoint
0 circle
1 reserved
2 reserved
3 reserved
4 reserved
5 reserved
6 reserved
7 reserved
8 wireless network node
9 petrol station
: hail
; park
< advisory
= tone-dialled position
> car
? information kiosk
@ hurricane
A box
B blowing snow
C coast guard
D drizzle
E smoke
F freezing rain
G snow shower
H haze
I rain shower
J lightning
K handheld radio
L lighthouse
M auxiliary military station
N navigation buoy
O rocket
P parking
Q earthquake
R restaurant
S satellite
T thunderstorm
U sunshine
V radio navigation beacon
W weather service office
X pharmacy
Y radio equipment
Z reserved
[ wall cloud
\\ reserved
] reserved
^ aircraft
_ weather station
` rain
a emergency service
b blowing dust
c civil defence
d distant station
e sleet
f funnel cloud
g gale flags
h shop
i point of interest
j work zone
k special vehicle
l area
m signpost
n triangle
o small circle
p partly cloudy
q reserved
r lavatory
s ship
t tornado
u truck
v van
w flooding
x obstruction
y storm spotter
z shelter
{ fog
| reserved
} reserved
~ reserved
"""


def _names(lines: str) -> dict[str, str]:
    return {line[0]: line[1:].removeprefix("\\").strip() for line in lines.strip().splitlines()}


NAMES: dict[str, dict[str, str]] = {PRIMARY: _names(_PRIMARY_NAMES), ALTERNATE: _names(_ALTERNATE_NAMES)}
"""For each table, the name of each code's picture, or `reserved`."""


def known_symbol(sent: str) -> tuple[str | None, str | None]:
    """The symbol in `sent`, a table and a code; or None, and why: there is no such table."""
    if sent[0] in TABLES:
        return sent, None
    return None, f"its symbol is of a table that does not exist: {sent[0]}"


def overlay(symbol: str) -> str | None:
    """The character drawn over the picture; None where there is none."""
    return None if symbol[0] in NAMES else symbol[0]


def name(symbol: str) -> str:
    """What the picture shows, in plain words, with the overlay if there is one."""
    over = overlay(symbol)
    picture = NAMES[symbol[0] if over is None else ALTERNATE].get(symbol[1], "reserved")
    return picture if over is None else f"{picture} marked {over}"


def _codes_of_destinations() -> dict[str, str]:
    """The symbol of each pair of characters that a destination can name it by: `GPSMV`, `SPCPY` (APRS101 chapter 20).

    In either table every code has a pair: one letter tells the table and the row, the other the place in it.
    """
    runs = (
        # first code, how many, the pair's first character in both tables, the second character of the run's first
        ("!", 15, "B", "O", "B"),
        ("0", 10, "P", "A", "0"),
        (":", 7, "M", "N", "R"),
        ("A", 26, "P", "A", "A"),
        ("[", 6, "H", "D", "S"),
        ("a", 26, "L", "S", "A"),
        ("{", 4, "J", "Q", "1"),
    )
    pairs: dict[str, str] = {}
    for code, count, primary, alternate, second in runs:
        for step in range(count):
            shown = chr(ord(code) + step)
            pairs[primary + chr(ord(second) + step)] = PRIMARY + shown
            pairs[alternate + chr(ord(second) + step)] = ALTERNATE + shown
    return pairs


_PAIRS = _codes_of_destinations()
_PREFIXES = ("GPS", "SPC", "SYM")
_NUMBERED = {"GPSC": PRIMARY, "GPSE": ALTERNATE}
_NUMBERS = range(1, 95)
_LENGTHS = (5, 6)


def of_destination(destination: str) -> str | None:
    """The symbol that a destination such as `GPSMV`, `SPCNV5` or `GPSC30` names; None where it names none.

    For reports that cannot hold one themselves (APRS101 chapter 20). A sixth character is an overlay, where the pair is
    from the alternate table.
    """
    text = destination.partition("-")[0]
    if len(text) not in _LENGTHS or not text.isascii() or not text.startswith(_PREFIXES):
        return None
    if (table := _NUMBERED.get(text[:4])) is not None and text[4:].isdigit():
        number = int(text[4:])
        return table + chr(ord("!") + number - 1) if len(text[4:]) == len("01") and number in _NUMBERS else None
    symbol = _PAIRS.get(text[3:5])
    if symbol is not None and symbol[0] == ALTERNATE and text[5:] in OVERLAYS:
        return text[5] + symbol[1]
    return symbol
