"""The invented people of the demo clinics."""

from __future__ import annotations

from dataclasses import dataclass

from clinics.management.demo.figure import Colours

MAIL_DOMAIN = "harbourlane.example"
TEAM = (
    ("Jun Sorley", "checker"),
    ("Mara Lindqvist", "starter"),
    ("Petra Voss", "logger"),
    ("Petra Voss", "camera"),
)


@dataclass(frozen=True)
class DemoSwimmer:
    """A swimmer in one clinic. Who is not ``filmed`` did not agree to it, and shows no card."""

    number: int
    name: str
    stroke: str
    pace_s_per_100m: float
    lane_group: str
    start: str
    colours: Colours
    filmed: bool = True

    @property
    def email(self) -> str:
        return mail_of(self.name)


def mail_of(name: str) -> str:
    return f"{name.lower().replace(' ', '.')}@{MAIL_DOMAIN}"


_LOOKS = {
    "Tomas Birk": Colours((215, 159, 126), (20, 60, 90), (181, 56, 15)),
    "Wren Okada": Colours((224, 178, 146), (112, 30, 62), (229, 169, 0)),
    "Sol Hagen": Colours((160, 106, 76), (34, 44, 52), (238, 245, 244)),
    "Ilse Corrigan": Colours((232, 190, 164), (24, 84, 60), (92, 60, 150)),
    "Bram Adeyemi": Colours((118, 78, 56), (30, 46, 110), (240, 130, 50)),
    "Esme Quayle": Colours((214, 164, 132), (20, 90, 120), (240, 210, 90)),
    "Liv Marchetti": Colours((222, 170, 138), (10, 83, 97), (28, 107, 69)),
    "Oskar Brandt": Colours((230, 186, 158), (60, 40, 84), (124, 199, 211)),
    "Noor Castellan": Colours((178, 124, 92), (16, 36, 46), (196, 92, 150)),
    "Davi Morrow": Colours((142, 96, 70), (88, 24, 24), (180, 196, 60)),
    "Pia Lindholm": Colours((236, 196, 172), (40, 40, 48), (60, 90, 200)),
    "Rune Tallis": Colours((198, 146, 112), (46, 70, 40), (220, 70, 60)),
    "Juno Halloran": Colours((208, 156, 124), (70, 70, 76), (20, 20, 24)),
}


def _swimmers(*rows: tuple[int, str, str, float, str, str]) -> tuple[DemoSwimmer, ...]:
    return tuple(DemoSwimmer(*row, _LOOKS[row[1]]) for row in rows)


AUTUMN_SWIMMERS = _swimmers(
    (11, "Tomas Birk", "freestyle", 52, "A", "block"),
    (12, "Wren Okada", "backstroke", 55, "A", "water"),
    (13, "Sol Hagen", "freestyle", 50, "A", "block"),
    (14, "Ilse Corrigan", "breaststroke", 54, "A", "block"),
    (15, "Bram Adeyemi", "butterfly", 51, "A", "block"),
    (16, "Esme Quayle", "freestyle", 53, "A", "block"),
    (21, "Liv Marchetti", "breaststroke", 56, "B", "block"),
    (22, "Oskar Brandt", "freestyle", 51, "B", "block"),
    (23, "Noor Castellan", "butterfly", 53, "B", "block"),
    (24, "Davi Morrow", "freestyle", 50, "B", "block"),
    (25, "Pia Lindholm", "backstroke", 54, "B", "water"),
    (26, "Rune Tallis", "freestyle", 50, "B", "block"),
)
WINTER_SWIMMERS = (
    *_swimmers(
        (1, "Noor Castellan", "freestyle", 43, "One", "block"),
        (2, "Bram Adeyemi", "freestyle", 41, "One", "block"),
        (3, "Wren Okada", "backstroke", 45, "One", "water"),
    ),
    DemoSwimmer(
        4, "Juno Halloran", "freestyle", 44, "One", "block", _LOOKS["Juno Halloran"], filmed=False
    ),
    *_swimmers(
        (5, "Pia Lindholm", "butterfly", 42, "One", "block"),
        (6, "Sol Hagen", "freestyle", 41, "One", "block"),
        (7, "Oskar Brandt", "breaststroke", 46, "One", "block"),
        (8, "Davi Morrow", "freestyle", 42, "One", "block"),
        (9, "Ilse Corrigan", "freestyle", 43, "One", "block"),
    ),
)
