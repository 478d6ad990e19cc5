"""The caution that stands wherever somebody may be about to power a board."""

BOARDS_HURT = (
    "Boards under test can hurt: mains and charged capacitors kill, capacitors burst, parts burn. "
    "Local codes and licensed practice come before anything that this program shows."
)
