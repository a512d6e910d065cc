"""Writers of the forms that the gateway only reads, for round trips: straight from the standard's formulas."""

import math


def base91(value: int, digits: int) -> bytes:
    """`value` in base 91, the most significant digit first (APRS101 chapter 9)."""
    text = bytearray()
    for _ in range(digits):
        value, digit = divmod(value, 91)
        text.insert(0, digit + 33)
    return bytes(text)


def minutes(coordinate: float) -> tuple[int, int]:
    """Whole degrees, and hundredths of a minute, of a coordinate's size."""
    return divmod(round(abs(coordinate) * 6000), 6000)


def plain(latitude: float, longitude: float, symbol: str = "/>", blanked: int = 0) -> bytes:
    """`4903.50N/07201.75W>`, with so many digits blanked (APRS101 chapter 6)."""
    (north, north_hundredths), (east, east_hundredths) = minutes(latitude), minutes(longitude)
    north_digits, east_digits = (
        f"{hundredths:04}"[: 4 - blanked].ljust(4) for hundredths in (north_hundredths, east_hundredths)
    )
    return (
        f"{north:02}{north_digits[:2]}.{north_digits[2:]}{'S' if math.copysign(1, latitude) < 0 else 'N'}{symbol[0]}"
        f"{east:03}{east_digits[:2]}.{east_digits[2:]}{'W' if math.copysign(1, longitude) < 0 else 'E'}{symbol[1]}"
    ).encode()


def compressed(latitude: float, longitude: float, symbol: str = "/>", extra: bytes = b" sT") -> bytes:
    """Thirteen octets (APRS101 chapter 9)."""
    table = symbol[0].translate(str.maketrans("0123456789", "abcdefghij")).encode()
    north, east = base91(int(380926 * (90 - latitude)), 4), base91(int(190463 * (180 + longitude)), 4)
    return table + north + east + symbol[1].encode() + extra


def compressed_movement(course: int, knots: float) -> bytes:
    """c, s and T of a current fix of which nothing more is told."""
    return bytes([33 + course // 4, 33 + round(math.log(knots + 1, 1.08)), 33 + 0b100010])


def compressed_range(miles: float) -> bytes:
    """c, s and T of a range."""
    return bytes([ord("{"), 33 + round(math.log(miles / 2, 1.08)), 33])


def compressed_altitude(feet: float) -> bytes:
    """c, s and T of an altitude, from a GGA sentence."""
    return base91(round(math.log(feet, 1.002)), 2) + bytes([33 + 0b110010])


def mic_e(  # noqa: PLR0913 - all that nine octets and a destination hold
    latitude: float,
    longitude: float,
    bits: str = "111",
    *,
    custom: bool = False,
    knots: int = 0,
    course: int = 0,
    symbol: str = "/>",
    blanked: int = 0,
    printable: bool = True,
) -> tuple[str, bytes]:
    """A destination and an information field (APRS101 chapter 10).

    `bits` is the message; `printable` adds 800 knots and 400 degrees where the octets would not print without.
    """
    (north, north_hundredths), (east, east_hundredths) = minutes(latitude), minutes(longitude)
    digits = f"{north:02}{north_hundredths:04}"[: 6 - blanked].ljust(6)
    switches = [*(bit == "1" for bit in bits), latitude >= 0, east >= 100 or east < 10, longitude < 0]
    destination = "".join(
        _destination_character(digit, switched, custom=custom and place < 3)
        for place, (digit, switched) in enumerate(zip(digits, switches, strict=True))
    )
    if east < 10:
        degrees = east + 90
    elif east < 100:
        degrees = east
    elif east < 110:
        degrees = east - 20
    else:
        degrees = east - 100
    whole = east_hundredths // 100
    if printable and knots < 200:
        knots += 800
    hundreds = course // 100 + (4 if printable else 0)
    numbers = [degrees, whole + (60 if whole < 10 else 0), east_hundredths % 100]
    numbers += [knots // 10, knots % 10 * 10 + hundreds, course % 100]
    return destination, b"`" + bytes(number + 28 for number in numbers) + f"{symbol[1]}{symbol[0]}".encode()


def _destination_character(digit: str, switched: bool, *, custom: bool) -> str:
    if digit == " ":
        return ("K" if custom else "Z") if switched else "L"
    if switched:
        return chr(ord("A" if custom else "P") + int(digit))
    return digit


def precise(latitude: float, longitude: float, letter: str, *, words: str = "") -> bytes:
    """A plain position with `words` and the digits that it has no room for (APRS12).

    Letter W: `!Wxy!`, thousandths of a minute. Letter w: `!wxy!`, 91sts of a hundredth. Cut off, not rounded.
    """
    steps = 10 if letter == "W" else 91
    (north, north_digit), (east, east_digit) = (
        divmod(int(abs(coordinate) * 6000 * steps + 1e-6), steps) for coordinate in (latitude, longitude)
    )
    first = ord("0") if letter == "W" else 33
    place = plain(math.copysign(north / 6000, latitude), math.copysign(east / 6000, longitude))
    return place + words.encode() + f"!{letter}{chr(first + north_digit)}{chr(first + east_digit)}!".encode()


def comment_telemetry(sequence: int, values: list[int], bits: str | None) -> bytes:
    """`|ss1122334455bb|`, the bits B1 first (the note "Base91 Comment Telemetry")."""
    numbers = [sequence, *values]
    if bits is not None:
        numbers.append(int(bits[::-1], 2))
    return b"|" + b"".join(base91(number, 2) for number in numbers) + b"|"


def sentence(fields: str) -> bytes:
    """A sentence with its checksum (NMEA 0183)."""
    checksum = 0
    for character in fields.encode():
        checksum ^= character
    return f"${fields}*{checksum:02X}".encode()
