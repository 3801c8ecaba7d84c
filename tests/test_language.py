"""Every word on screen exists in French, and French pages are French.

The catalogue is compared with a fresh run of GNU xgettext over the code (through Django's
makemessages) and read by GNU msgfmt, msgcmp and msgattrib, so nothing here is judged by the
code that it is about.
"""

from __future__ import annotations

import ast
import html
import re
import shutil
import subprocess
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command
from django.test import Client
from django.urls import reverse
from django.utils import timezone, translation

from clinics.actions.errors import BadInput, say
from clinics.models import Entry
from clinics.views.words import in_words
from feedback.models import Comment
from portal.actions.sign_in import ask_for_code
from portal.models import OutboxMail, User
from tests.cast import Cast, sign_in

ROOT = Path(settings.BASE_DIR)
CATALOGUE = ROOT / "portal/locale/fr/LC_MESSAGES/django.po"
PACKAGES = ("portal", "clinics", "feedback")


# --- the catalogue --------------------------------------------------------------------------------


def gettext_tool(*argv: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(argv, capture_output=True, text=True, timeout=60, check=False)


@pytest.fixture(scope="module")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The catalogue as makemessages would leave it now, made in a copy of the code."""
    folder = tmp_path_factory.mktemp("fresh")
    for package in PACKAGES:
        shutil.copytree(
            ROOT / package,
            folder / package,
            ignore=shutil.ignore_patterns("__pycache__", "vendor", "*.mo", "migrations"),
        )
    options = ["-l", "fr", "--no-location", "--no-obsolete", "-v", "0"]
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setattr(settings, "LOCALE_PATHS", [folder / "portal/locale"])
        call_command("makemessages", *options)
    return folder / "portal/locale/fr/LC_MESSAGES/django.po"


def entries(path: Path) -> Iterator[tuple[list[str], list[str]]]:
    """msgids and msgstrs of each entry, one line each since msgcat leaves them unwrapped."""
    text = gettext_tool("msgcat", "--no-wrap", str(path)).stdout
    for block in text.split("\n\n"):
        said: dict[str, str] = {}
        key = ""
        for line in block.splitlines():
            if line.startswith("#"):
                continue
            head, _, rest = line.partition('"')
            key = head.strip() or key
            said[key] = said.get(key, "") + ast.literal_eval('"' + rest)
        if said.get("msgid"):
            ids = [said[key] for key in ("msgid", "msgid_plural") if key in said]
            yield ids, [text for key, text in said.items() if key.startswith("msgstr")]


def test_every_string_of_the_code_is_in_the_catalogue(fresh: Path) -> None:
    told = gettext_tool("msgcmp", str(CATALOGUE), str(fresh))  # untranslated and fuzzy fail too
    assert told.returncode == 0, told.stderr
    assert len(list(entries(fresh))) > 700


def test_nothing_is_untranslated_fuzzy_or_out_of_use(fresh: Path) -> None:
    for kind in ("--untranslated", "--only-fuzzy", "--only-obsolete"):
        assert gettext_tool("msgattrib", kind, str(fresh)).stdout == "", kind
        assert gettext_tool("msgattrib", kind, str(CATALOGUE)).stdout == "", kind
    unused = {tuple(ids) for ids, _ in entries(CATALOGUE)} - {
        tuple(ids) for ids, _ in entries(fresh)
    }
    assert not unused


def test_gnu_msgfmt_accepts_the_catalogue(tmp_path: Path) -> None:
    told = gettext_tool(
        "msgfmt", "--check", "--statistics", "-o", str(tmp_path / "out.mo"), str(CATALOGUE)
    )
    assert told.returncode == 0, told.stderr
    assert "fuzzy" not in told.stderr and "untranslated" not in told.stderr


PLACEHOLDER = re.compile(r"%\(\w+\)[-+.\d]*[a-z]|%%|\{\w*\}|</?\w+>")


def test_placeholders_are_those_of_the_english() -> None:
    wrong = []
    for ids, french in entries(CATALOGUE):
        wanted = sorted(PLACEHOLDER.findall(ids[-1]))  # of the plural, where there is one
        wrong += [text for text in french if sorted(PLACEHOLDER.findall(text)) != wanted]
    assert not wrong


def test_plurals_have_both_forms_and_typography_is_french() -> None:
    for ids, french in entries(CATALOGUE):
        assert len(french) == len(ids), ids
        for text in french:
            assert not re.search(r" [:;?!»%](\s|$|%)", text), f"a plain space before a sign: {text}"
            assert not re.search(r"«(?!\u00a0)|[“”]", text), f"quotes: {text}"
            assert ('"' in text) == any('"' in one for one in ids), f"quotes: {text}"
            assert "'" not in text, f"a straight apostrophe: {text}"


def test_default_texts_are_typed_as_french_is() -> None:
    texts = sorted((ROOT / "clinics/texts").glob("*.fr.txt"))
    assert texts
    for path in texts:
        text = path.read_text(encoding="utf-8")
        found = re.findall(
            r".{0,20} [:;?!»%].{0,5}|.{0,20}['“”\"].{0,5}|\bce [aeiouyéèêh]\w+", text
        )
        assert not found, f"{path.name}: {found}"


def test_the_catalogue_holds_no_paths() -> None:
    text = CATALOGUE.read_text(encoding="utf-8")
    assert "\n#: " not in text
    assert str(ROOT) not in text


# --- the pages ------------------------------------------------------------------------------------

# Words without which English gets nowhere and that French does not have.
ENGLISH = re.compile(
    r"\b(the|and|of|is|are|was|not|this|that|with|your|you|to|for|from|by|when|has|have|been|"
    r"it|its|here|all|new|no|who|what|swim|swims|swimmer|clip|sure|look|ready|log|send)\b",
    re.IGNORECASE,
)
SPOKEN = {"alt", "title", "aria-label", "aria-valuetext", "placeholder", "content"}
NUMBERS = re.compile(r"[\d.,\s-]*\d[\d.,\s-]*")


class Words(HTMLParser):
    """What a page says, and the figures in its attributes, which scripts and SVG read."""

    VOID = {"meta", "link", "input", "br", "img", "hr", "source", "track", "use"}

    def __init__(self) -> None:
        super().__init__()
        self.silent: list[str] = []
        self.said: list[str] = []
        self.figures: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        named = {key: value or "" for key, value in attrs}
        quiet = tag in {"script", "style", "code", "textarea"}
        quiet = quiet or (tag != "html" and named.get("lang") == "en")
        if self.silent or quiet:
            if tag not in self.VOID:
                self.silent.append(tag)
            return
        for key, value in named.items():
            in_words = key in SPOKEN and named.get("name") != "viewport" and tag != "textarea"
            in_words = in_words or (key.startswith("data-") and " " in value)
            if in_words:
                self.said.append(value)
            if NUMBERS.fullmatch(value):
                self.figures.append(f"{tag} {key}={value}")

    def handle_endtag(self, tag: str) -> None:
        if self.silent and tag not in self.VOID:
            self.silent.pop()

    def handle_data(self, data: str) -> None:
        if not self.silent and data.strip():
            self.said.append(" ".join(data.split()))


def read(client: Client, url: str, language: str) -> Words:
    answer = client.get(url, headers={"accept-language": language})
    assert answer.status_code == 200, url
    assert answer.headers["Content-Language"] == language
    words = Words()
    words.feed(answer.content.decode())
    assert len(words.said) > 10, url
    return words


def pages(cast: Cast) -> dict[str, tuple[User | None, list[str]]]:
    """The main pages of each role."""
    clinic, swim = [cast.clinic.pk], [cast.swims["tomas"].pk]

    def at(*names: str, args: list[object]) -> list[str]:
        return [reverse(name, args=args) for name in names]

    account = at("portal:account", "portal:factors", "portal:factor-app", args=[])
    return {
        "nobody": (None, at("portal:sign-in", "portal:notice", args=[])),
        "swimmer": (
            cast.tomas,
            [
                *account,
                *at("feedback:my-swims", args=[]),
                *at("feedback:swim", "clinics:not-me", args=swim),
            ],
        ),
        "coach": (
            cast.coach,
            at("feedback:waiting", "clinics:clinics", args=[])
            + at("feedback:swim", args=swim)
            + at("clinics:clinic", "clinics:clinic-plan", args=clinic),
        ),
        "checker": (
            cast.checker,
            at("clinics:check", "clinics:start-log-file", "clinics:bring-in", args=clinic)
            + at("clinics:check-swim", args=swim)
            + at("portal:health", args=[]),
        ),
        "crew": (
            cast.crew,
            at("clinics:start-log", "clinics:bring-in", args=clinic)
            + at("clinics:recording", args=[cast.recordings["start-side"].pk]),
        ),
        "admin": (
            cast.admin,
            at("clinics:clinics", "clinics:clinic-new", args=[])
            + at("portal:people", args=[cast.harbour.slug])
            + at("clinics:consent", "clinics:clinic-roster", "clinics:close", args=clinic),
        ),
    }


@pytest.fixture(scope="session")
def compiled() -> None:
    """The .mo file is made by deploy/ and not kept with the code."""
    call_command("compilemessages", "-l", "fr", "--ignore", ".venv", verbosity=0)
    translation.trans_real._translations.clear()


@pytest.fixture
def said(cast: Cast) -> Cast:
    """The cast, with a comment and an answer on a swim, so that these words are on screen too."""
    Comment.objects.create(
        swim=cast.swims["tomas"],
        author=cast.coach,
        text="Menton.",
        sent_at=timezone.now(),
    )
    return cast


@pytest.mark.parametrize("role", ["nobody", "swimmer", "coach", "checker", "crew", "admin"])
def test_pages_speak_french(compiled: None, said: Cast, role: str) -> None:
    user, urls = pages(said)[role]
    client = sign_in(Client(), user)
    names = re.compile("|".join([*map(re.escape, own_names(said)), r"\{\w+\}"]))
    for url in urls:
        french = read(client, url, "fr")
        left = [text for text in french.said if ENGLISH.search(names.sub("", text))]
        assert not left, f"{url}: {left}"


def own_names(cast: Cast) -> list[str]:
    """What clubs and people called their things; it stays as they wrote it."""
    stations = [station.name for station in cast.clinic.stations.all()]
    people = list(User.objects.values_list("name", flat=True))
    return [*stations, *people, "Autumn clinic", "Harbour Lane Masters", "Millrace Baths"]


@pytest.mark.parametrize("role", ["swimmer", "coach", "checker", "crew", "admin"])
def test_figures_for_scripts_and_drawings_do_not_turn_french(
    compiled: None, said: Cast, role: str
) -> None:
    """A decimal comma in an attribute would break what reads it."""
    user, urls = pages(said)[role]
    client = sign_in(Client(), user)
    for url in urls:
        assert read(client, url, "fr").figures == read(client, url, "en").figures, url


def test_dates_and_decimals_by_locale(compiled: None, said: Cast) -> None:
    said.clinic.course_m = 22.86
    said.clinic.save()
    Entry.objects.filter(clinic=said.clinic).update(pace_s_per_100m=91.5)
    client = sign_in(Client(), said.coach)
    url = reverse("clinics:clinic-plan", args=[said.clinic.pk])
    french = " ".join(read(client, url, "fr").said)
    assert "14 novembre 2026" in french
    assert "bassin de 22,86 m" in french
    assert "91,5" in french and "91.5" not in french
    english = " ".join(read(client, url, "en").said)
    assert "14 November 2026" in english and "22.86 m pool" in english and "91.5" in english


def test_choices_of_models_are_french(compiled: None) -> None:
    with translation.override("fr"):
        assert str(Entry._meta.get_field("stroke").choices[0][1]) == "nage libre"


def test_a_mail_is_in_the_language_of_who_reads_it(compiled: None, said: Cast) -> None:
    User.objects.filter(pk=said.tomas.pk).update(language="fr")
    with translation.override("en"):
        ask_for_code(email=said.tomas.email, browser_secret="b" * 40)
        ask_for_code(email=said.coach.email, browser_secret="b" * 40)
    subjects = dict(OutboxMail.objects.values_list("to", "subject"))
    assert subjects[said.tomas.email] == "Votre code de connexion"
    assert subjects[said.coach.email] == "Your sign-in code"


def test_what_is_wrong_with_a_roster_is_said_in_french(compiled: None, cast: Cast) -> None:
    """Also what the reading of files says, which itself knows no languages."""
    client = sign_in(Client(), cast.admin)
    url = reverse("clinics:clinic-roster", args=[cast.clinic.pk])
    roster = "number,name,adult,stroke,pace_s_per_100m\n1,Tomas Birk,yes,sideways,92.5\n"
    answer = client.post(url, {"roster": roster}, headers={"accept-language": "fr"})
    assert answer.status_code == 422
    said = html.unescape(answer.content.decode()).replace("\u00a0", " ")
    assert "liste des nageurs, ligne 2, colonne « stroke »" in said
    assert "« sideways » n’est pas connu. Écrivez l’un de ces mots : freestyle" in said


def test_a_sentence_keeps_its_pattern_and_says_english_by_itself(compiled: None) -> None:
    where = say("%(place)s, row %(row)s", place="100% roster", row=3)
    bad = BadInput([(where, say("is missing.")), ("plan.toml", "as it is, 5%")])
    assert bad.lines() == ["100% roster, row 3: is missing.", "plan.toml: as it is, 5%"]
    with translation.override("fr"):
        assert in_words(bad).lines() == [
            "100% roster, ligne 3: manque.",
            "plan.toml: as it is, 5%",
        ]
