"""What people say of a station: where it stands, and what its camera is like."""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.utils.translation import gettext as _now
from django.utils.translation import gettext_lazy as _

from clinics.actions.errors import BadInput
from clinics.actions.stations import Place
from clinics.compute.sight import (
    FULL_FRAME_MM,
    LEAST_ANGLE_DEG,
    MOST_ANGLE_DEG,
    Port,
    angle_for_width_deg,
    lens_angle_deg,
    typed_angle_deg,
)
from clinics.compute.station_needs import BIT_RATES
from clinics.models import Station
from clinics.views.kit_told import mode_told
from clinics.views.words import in_words

ABOUT_DEG = 0.05  # an angle shown with one decimal and sent back is the same


def _number(
    label: Any, hint: Any = "", *, required: bool = False, least: float | None = None
) -> Any:
    attributes = {"step": "any", "inputmode": "decimal" if least is not None else "text"}
    if least is not None:
        attributes["min"] = f"{least:g}"
    widget = forms.NumberInput(attrs=attributes)
    return forms.FloatField(
        label=label, help_text=hint, required=required, min_value=least, widget=widget
    )


class PlaceForm(forms.Form):
    x_m = _number(_("Along, m"), _("From the start wall."), required=True)
    y_m = _number(
        _("Across, m"),
        _("From the edge of the swum lane's side: over the water; on the deck with a minus."),
        required=True,
    )
    z_m = _number(_("Height, m"), _("Above the water; under water with a minus."), required=True)
    bearing_deg = _number(
        _("Looks towards, degrees"),
        _("0 along the course, 90 across into the pool, 180 back to the start, −90 or 270 "
          "across to the swum lane's side. Empty: as usual."),
    )  # fmt: skip

    def place(self) -> Place:
        return Place(**self.cleaned_data)


class NewStationForm(forms.Form):
    name = forms.CharField(label=_("Name"), max_length=80)
    kind = forms.ChoiceField(label=_("Kind"), choices=Station.Kind.choices)


class StationForm(forms.Form):
    """The angle of view is given itself, or found from a focal length or from what was measured;
    `clean` leaves it in angle_deg alone."""

    name = forms.CharField(label=_("Name"), max_length=80)
    kind = forms.ChoiceField(label=_("Kind"), choices=Station.Kind.choices)
    hears_start = forms.BooleanField(label=_("Hears the start signal"), required=False)
    angle_deg = _number(
        _("Angle of view, degrees"),
        _("Horizontal, in air, at the setting in which you film."),
        least=LEAST_ANGLE_DEG,
    )
    focal_mm = _number(
        _("Focal length, mm"), _("The “35 mm equivalent” in the camera's manual."), least=1
    )
    width_m = _number(_("Width of the picture, m"), least=0.01)
    at_m = _number(_("at a distance of, m"), least=0.01)
    in_water = forms.BooleanField(
        label=_("Measured under water, behind the port it will have"), required=False
    )
    port = forms.ChoiceField(
        label=_("Between lens and water"),
        required=False,
        choices=[("", _("as usual: a flat port under water, nothing above it"))]
        + list(Station.Port.choices),
    )
    fixed_mount = forms.ChoiceField(
        label=_("Held by"),
        choices=[("yes", _("a fixed mount")), ("no", _("a hand, or walks along"))],
        widget=forms.RadioSelect,
    )
    bit_rate = forms.ChoiceField(label=_("Recording mode"), required=False)
    card_gb = _number(_("One card holds, GB"), least=0.1)
    battery_min = _number(
        _("One battery lasts, minutes"), _("Of filming, as its maker or you have found."), least=1
    )

    def __init__(self, data: Any = None, *, station: Station) -> None:
        initial = {name: getattr(station, name) for name in SAID if name in self.base_fields}
        initial["fixed_mount"] = "yes" if station.fixed_mount else "no"
        super().__init__(data, initial=initial)
        modes = [(rate.key, mode_told(rate)) for rate in BIT_RATES]
        usual = _now("not said; taken: %(mode)s") % {"mode": modes[0][1]}
        self.fields["bit_rate"].choices = [("", usual), *modes]  # type: ignore[attr-defined]

    def clean_fixed_mount(self) -> bool:
        return bool(self.cleaned_data["fixed_mount"] == "yes")

    def clean(self) -> dict[str, Any]:
        said = super().clean() or self.cleaned_data
        if not self.errors:
            try:
                said["angle_deg"] = self._angle_deg(said)
            except BadInput as bad:
                raise ValidationError([text for _w, text in in_words(bad).errors]) from None
        return said

    def _angle_deg(self, said: dict[str, Any]) -> float | None:
        measured = (said["width_m"], said["at_m"])
        if measured.count(None) == 1:
            raise ValidationError(_("The picture's width and its distance go together."))
        ways = [said["focal_mm"] is not None, None not in measured]
        if sum(ways) + (any(ways) and self._angle_is_new(said["angle_deg"])) > 1:
            raise ValidationError(
                _("Give the angle of view in one way: the angle, a focal length, or a width.")
            )
        if said["focal_mm"] is not None:
            focal_mm = said["focal_mm"]
            return typed_angle_deg(focal_length_mm=focal_mm, sensor_width_mm=FULL_FRAME_MM)
        if None not in measured:
            return self._measured_deg(*measured, said)
        angle_deg: float | None = said["angle_deg"]
        return angle_deg if angle_deg is None else typed_angle_deg(angle_deg=angle_deg)

    def _angle_is_new(self, angle_deg: float | None) -> bool:
        before = self.initial["angle_deg"]
        if angle_deg is None or before is None:
            return angle_deg is not None
        return bool(abs(angle_deg - before) > ABOUT_DEG)

    def _measured_deg(self, width_m: float, at_m: float, said: dict[str, Any]) -> float:
        seen_deg = angle_for_width_deg(width_m=width_m, distance_m=at_m)
        port = Port(said["port"] or Port.FLAT) if said["in_water"] else Port.AIR
        try:
            angle_deg = lens_angle_deg(seen_deg, port)
        except ValueError:
            raise ValidationError(
                _("No lens sees so wide through a flat port. Look at width and distance again.")
            ) from None
        if not LEAST_ANGLE_DEG <= angle_deg <= MOST_ANGLE_DEG:
            raise ValidationError(
                _("That would be an angle of %(angle)s degrees. Look at width and distance again.")
                % {"angle": f"{angle_deg:.0f}"}
            )
        return round(angle_deg, 2)

    def said(self) -> dict[str, Any]:
        """For `change_station`."""
        return {name: self.cleaned_data[name] for name in SAID}


SAID = (
    "name",
    "kind",
    "hears_start",
    "angle_deg",
    "port",
    "fixed_mount",
    "bit_rate",
    "card_gb",
    "battery_min",
)
