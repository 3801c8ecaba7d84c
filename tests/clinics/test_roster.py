"""Rosters: every bad row is named; people stay who they are."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from clinics.actions.errors import BadInput
from clinics.actions.roster import email_ok, take_in_roster
from clinics.compute.roster_file import parse_roster
from clinics.compute.tables import decode_text
from clinics.models import Clinic, Swim, Swimmer
from portal.models import Club, User
from tests.cast import FIRST_START, make_clinic

HEAD = "number,name,email,adult,stroke,pace_s_per_100m,lane_group,start\n"
GOOD = (
    HEAD
    + "1,Tomas Birk,t@harbourlane.example,yes,freestyle,78,A,block\n"
    + "2,Wren Okada,,yes,backstroke,1:32.5,A,water\n"
)


def errors_of(text: str, groups: tuple[str, ...] = ()) -> dict[str, str]:
    with pytest.raises(BadInput) as caught:
        parse_roster(text, lane_groups=list(groups), email_ok=email_ok, source="r.csv")
    return dict(caught.value.errors)


def test_every_bad_cell_of_every_row_is_named() -> None:
    text = (
        HEAD
        + "0,,not-an-address,no,freestyle,78,A,block\n"
        + "\n"
        + "7,Wren Okada,,maybe,crawl,20,Z,diving\n"
        + "7,Sol Hagen,,yes,freestyle,1:75,A,\n"
        + "8,Liv Marchetti,,yes,freestyle,78,A,block,extra\n"
    )
    told = errors_of(text, groups=("A", "B"))
    assert set(told) == {
        "r.csv, row 2, column “number”",
        "r.csv, row 2, column “name”",
        "r.csv, row 2, column “email”",
        "r.csv, row 2, column “adult”",
        "r.csv, row 4, column “adult”",
        "r.csv, row 4, column “stroke”",
        "r.csv, row 4, column “pace_s_per_100m”",
        "r.csv, row 4, column “lane_group”",
        "r.csv, row 4, column “start”",
        "r.csv, row 5, column “number”",
        "r.csv, row 5, column “pace_s_per_100m”",
        "r.csv, row 6",
    }
    assert "18" in told["r.csv, row 2, column “adult”"]
    assert "freestyle, backstroke" in told["r.csv, row 4, column “stroke”"]
    assert "40 to 600" in told["r.csv, row 4, column “pace_s_per_100m”"]
    assert "A, B" in told["r.csv, row 4, column “lane_group”"]
    assert "row 4 already" in told["r.csv, row 5, column “number”"]


def test_missing_and_unknown_columns_are_named() -> None:
    told = errors_of("number,name,adlut,stroke,pace_s_per_100m\n1,A,yes,freestyle,80\n")
    assert set(told) == {"r.csv, row 1, column “adlut”", "r.csv, row 1, column “adult”"}


@pytest.mark.parametrize("text", ["", "\n\n", HEAD])
def test_empty_tables_say_so(text: str) -> None:
    assert errors_of(text)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_encodings_and_delimiters_of_spreadsheets(encoding: str, delimiter: str) -> None:
    text = "number,name,e-mail,adult,stroke,pace_s_per_100m\r\n4,Zoé Brück,,YES,Freestyle,92\r\n"
    content = text.replace(",", delimiter).encode(encoding)
    read = decode_text(content, source="r.csv")
    rows = parse_roster(read, lane_groups=[], email_ok=email_ok)
    assert [(row.name, row.stroke, row.lane_group) for row in rows] == [
        ("Zoé Brück", "freestyle", "1")
    ]


def test_decimal_comma_and_quoted_cells() -> None:
    text = 'number;name;adult;stroke;pace_s_per_100m\n4;"Brück; Zoé";yes;fly;92,5\n'
    row = parse_roster(text, lane_groups=[], email_ok=email_ok)[0]
    assert (row.name, row.stroke, row.pace_s_per_100m) == ("Brück; Zoé", "butterfly", 92.5)


def test_binary_is_not_taken_for_text() -> None:
    with pytest.raises(BadInput, match="not a text file"):
        decode_text(b"PK\x03\x04\x00\x00", source="roster.xlsx")


@pytest.mark.parametrize("name", ["a\u202egnp", "bell\x07", "z" * 121])
def test_names_that_cannot_be_shown_are_refused(name: str) -> None:
    assert "r.csv, row 2, column “name”" in errors_of(HEAD + f"1,{name},,yes,freestyle,80,A,\n")


@given(st.text(max_size=300))
def test_whatever_is_handed_in_is_read_or_refused(text: str) -> None:
    for source in (text, HEAD + text):
        try:
            parse_roster(source, lane_groups=[], email_ok=email_ok)
        except BadInput as bad:
            assert bad.errors


# --- in the database -----------------------------------------------------------------------------


@pytest.fixture
def clinic(db: None) -> Clinic:
    club = Club.objects.create(slug="harbour-lane-masters", name="Harbour Lane Masters")
    return make_clinic(club, "harbour-autumn", "Autumn clinic")


def take(clinic: Clinic, text: str) -> None:
    take_in_roster(clinic=clinic, text=text, by=None)


def test_swimmer_of_an_earlier_clinic_is_the_same_person(clinic: Clinic) -> None:
    take(clinic, GOOD)
    spring = make_clinic(clinic.club, "harbour-spring", "Spring clinic")
    take(spring, GOOD.replace("2,Wren Okada,,", "5,wren  okada,w@harbourlane.example,"))
    assert Swimmer.objects.count() == 2
    wren = spring.entries.get(number=5).swimmer
    assert wren == clinic.entries.get(number=2).swimmer
    assert wren.email == "w@harbourlane.example"


def test_two_people_of_one_name_stay_two(clinic: Clinic) -> None:
    twins = GOOD.replace("Wren Okada", "Tomas Birk")
    for _ in range(2):
        take(clinic, twins)
    assert Swimmer.objects.count() == 2
    other = GOOD.replace("t@harbourlane.example", "another@harbourlane.example")
    take(make_clinic(clinic.club, "harbour-spring", "Spring clinic"), other)
    names = Swimmer.objects.filter(email="another@harbourlane.example")
    assert names.count() == 1


def test_numbers_change_hands_while_nobody_has_swum(clinic: Clinic) -> None:
    take(clinic, GOOD)
    people = {entry.number: entry.swimmer_id for entry in clinic.entries.all()}
    rows = GOOD.replace("1,Tomas", "x,Tomas").replace("2,Wren", "1,Wren").replace("x,", "2,")
    take(clinic, rows)
    assert {e.number: e.swimmer_id for e in clinic.entries.all()} == {
        1: people[2],
        2: people[1],
    }


def test_correction_of_who_has_swum_is_taken_in(clinic: Clinic) -> None:
    take(clinic, GOOD)
    entry = clinic.entries.get(number=2)
    swim = Swim.objects.create(entry=entry, start_at=FIRST_START, start_u_ms=150)
    take(clinic, GOOD.replace("1:32.5", "1:28").replace("backstroke", "freestyle"))
    entry.refresh_from_db()
    assert (entry.pace_s_per_100m, entry.stroke) == (88, "freestyle")
    assert Swim.objects.get() == swim


def test_changed_address_no_longer_belongs_to_who_had_the_old_one(clinic: Clinic) -> None:
    take(clinic, GOOD)
    swimmer = clinic.entries.get(number=1).swimmer
    swimmer.user = User.objects.create_user("t@harbourlane.example", "Tomas Birk")
    swimmer.save()
    take(clinic, GOOD)
    swimmer.refresh_from_db()
    assert swimmer.user is not None
    take(clinic, GOOD.replace("t@harbourlane", "new@harbourlane"))
    swimmer.refresh_from_db()
    assert (swimmer.email, swimmer.user) == ("new@harbourlane.example", None)


def test_lane_groups_of_the_roster_come_in_its_order(clinic: Clinic) -> None:
    rows = GOOD.replace("78,A", "78,Lane 6").replace("1:32.5,A", "1:32.5,Lane 2")
    take(clinic, rows)
    take(clinic, rows)
    assert [group.name for group in clinic.lane_groups.all()] == ["Lane 6", "Lane 2"]


def test_closed_clinic_stays(clinic: Clinic) -> None:
    take(clinic, GOOD)
    Clinic.objects.update(state="closed", closed_at=FIRST_START)
    clinic.refresh_from_db()
    with pytest.raises(BadInput, match="closed"):
        take(clinic, GOOD)
