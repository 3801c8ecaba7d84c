"""What is said of a plane in the picture: how well it fits, what it does not hold for and by how
much, and where a point lies."""

from __future__ import annotations

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from clinics.models import Station
from feedback.actions.planes import HeldPlane
from feedback.compute.measuring.measure import Unit
from feedback.compute.measuring.notation import written
from feedback.compute.measuring.picture_cautions import out_of_plane_share, port_scale
from feedback.compute.measuring.plane import Plane, Spot, worst_mark
from feedback.compute.measuring.plane_lines import residual_m
from feedback.compute.measuring.plane_marks import What
from feedback.compute.measuring.uncertain import Quantity
from feedback.models import PicturePlane
from feedback.views.measure_words import with_plus_minus, with_unit

BESIDE_M = 1.25  # half a lane of 2.5 m (FINA FR 3)
STANDS_OUT = 2.0  # times what a hand sets a mark to (judgement)
NEAR_AXIS_DEG, WIDE_DEG = 1.0, (20.0, 30.0)

WHAT_NAMES = {
    What.MARKER: gettext_lazy("deck marker, placed by tape"),
    What.WALL: gettext_lazy("wall"),
    What.FLAGS: gettext_lazy("flags, at the post's foot"),
    What.TILE: gettext_lazy("tile line"),
    What.FLOAT: gettext_lazy("rope float"),
    What.OTHER: gettext_lazy("something else"),
}


def fit_words(plane: Plane) -> list[str]:
    """How far its marks are off, and which one most."""
    off_m = residual_m(plane)
    if plane.residual_px is None or off_m is None:
        return [
            _(
                "Four marks always fit: nobody can tell whether one of them is wrong. A fifth "
                "shows it, a sixth tells which."
            )
        ]
    told = [
        _("The %(count)d marks are %(px)s px off on average, %(cm)s cm in the pool.")
        % {
            "count": len(plane.marks),
            "px": _figure(plane.residual_px, 1),
            "cm": _figure(100 * off_m, 1),
        }
    ]
    worst = worst_mark(plane)
    if worst is not None and worst[1] < STANDS_OUT * plane.click_u_px:
        told.append(_("None of them stands out."))
    elif worst is not None:
        told.append(
            _("Mark %(n)d fits least: it is %(px)s px from where the others put it.")
            % {"n": worst[0] + 1, "px": _figure(worst[1], 1)}
        )
    return told


def caution_words(held: HeldPlane, station: Station) -> list[str]:
    """What it does not hold for, with its size."""
    told = [_beside(held.distance_m)]
    if held.under_water:
        if station.port != Station.Port.DOME:
            told.append(_flat_port())
    else:
        told.append(
            _("This camera is above the water: it cannot measure what is below the surface.")
        )
    if held.row.lies == PicturePlane.Lies.FLAT:
        told.append(
            _(
                "The plane lies on the water: what is above it, such as a raised arm, reads at a "
                "place further off."
            )
        )
    return told + _floats(held)


def _beside(distance_m: float | None) -> str:
    if distance_m is None:
        return _(
            "A body nearer to the camera than the plane reads too long, one further off too "
            "short. Say how far the camera is from the plane, and it is said here by how much."
        )
    if distance_m <= BESIDE_M:
        return _(
            "The camera is only %(distance)s from the plane: what lengths of a body beside the "
            "plane read cannot be said."
        ) % {"distance": _metres(distance_m)}
    return _(
        "A body %(beside)s (half a lane) nearer to the camera than the plane reads %(more)s %% "
        "too long, one as far behind it %(less)s %% too short: the camera is %(distance)s from "
        "the plane."
    ) % {
        "beside": _metres(BESIDE_M),
        "more": _figure(100 * out_of_plane_share(BESIDE_M, distance_m), 1),
        "less": _figure(-100 * out_of_plane_share(-BESIDE_M, distance_m), 1),
        "distance": _metres(distance_m),
    }


def _flat_port() -> str:
    middle = port_scale(NEAR_AXIS_DEG)
    more = [100 * (port_scale(angle) / middle - 1) for angle in WIDE_DEG]
    return _(
        "Through a flat port or window things look larger away from the picture's middle: by "
        "%(some)s %% at %(one)s°, by %(much)s %% at %(other)s°. Measure near the middle."
    ) % {
        "some": _figure(more[0], 0),
        "one": _figure(WIDE_DEG[0], 0),
        "much": _figure(more[1], 0),
        "other": _figure(WIDE_DEG[1], 0),
    }


def _floats(held: HeldPlane) -> list[str]:
    points = held.row.points
    numbers = [str(n) for n, one in enumerate(points, start=1) if one.get("what") == What.FLOAT]
    if not numbers:
        return []
    told = ngettext(
        "Mark %(numbers)s is a rope float: it counts only where it stands where the rules put "
        "it. The ropes of clubs often lack them, and a rope sags.",
        "Marks %(numbers)s are rope floats: they count only where they stand where the rules put "
        "them. The ropes of clubs often lack them, and a rope sags.",
        len(numbers),
    )
    return [told % {"numbers": ", ".join(numbers)}]


def spot_words(held: HeldPlane, spot: Spot, *, figures: bool) -> str:
    """“10.04 m ± 0.06 m along, 1.42 m ± 0.05 m across”; without `figures` no ±, for swimmers."""
    say = _with_figures if figures else _plain
    values = {"along": say(spot.x), "other": say(spot.y)}
    if held.row.lies == PicturePlane.Lies.UPRIGHT:
        values["other"] = say(spot.y.times(-1) if spot.y.value < 0 else spot.y)
        pattern = (
            _("%(along)s along, %(other)s below the surface.")
            if spot.y.value < 0
            else _("%(along)s along, %(other)s above the surface.")
        )
    else:
        pattern = _("%(along)s along, %(other)s across.")
    return pattern % values


def apart_words(far: Quantity, *, figures: bool) -> str:
    say = _with_figures if figures else _plain
    return _("%(distance)s between the two points.") % {"distance": say(far)}


def outside_words(*spots: Spot) -> str:
    """Empty: all are between the marks."""
    if not any(spot.outside for spot in spots):
        return ""
    return _("Not between the marks: the further out, the less sure.")


def _with_figures(quantity: Quantity) -> str:
    return with_plus_minus(quantity, Unit.M)


def _plain(quantity: Quantity) -> str:
    w = written(quantity)
    decimals = min(w.decimals, 1)
    return _("about %(value)s") % {"value": with_unit(_figure(w.value, decimals), Unit.M)}


def _figure(value: float, decimals: int) -> str:
    """Rounded: the format by itself cuts off."""
    return number_format(round(value, decimals), decimals)


def _metres(value_m: float) -> str:
    return with_unit(number_format(f"{value_m:.6g}"), Unit.M)
