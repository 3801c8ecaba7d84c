"""What is due, as a page says it, and the forms to move and add."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection, Sequence
from dataclasses import dataclass

from django import forms
from django.utils.translation import gettext_lazy as _

from clinics.actions.tasks import TaskLine
from clinics.actions.tasks_acts import WORDS_MOST
from clinics.compute.tasks_ahead import Role, State
from clinics.views.people_forms import day_input
from clinics.views.words import said

ROLES = {
    Role.ADMIN: _("club admin"),
    Role.CREW: _("crew"),
    Role.CHECKER: _("checker"),
}
STATES = {
    State.OVERDUE: _("Overdue"),
    State.SOON: _("Within a week"),
    State.LATER: _("Later"),
    State.DONE: _("Done"),
}
LOOK = {State.OVERDUE: "unknown", State.SOON: "look", State.LATER: "busy", State.DONE: ""}


@dataclass(frozen=True)
class TaskTold:
    """`may_tick`: this person may say that it is done."""

    line: TaskLine
    words: str
    role: str
    may_tick: bool

    @property
    def key(self) -> str:
        return self.line.key

    @property
    def day(self) -> dt.date:
        return self.line.due.day

    @property
    def is_done(self) -> bool:
        return self.line.due.state is State.DONE


@dataclass(frozen=True)
class GroupTold:
    """Tasks of one state; `look` is the class of its sign."""

    key: str
    title: str
    look: str
    tasks: list[TaskTold]


def groups_told(lines: Sequence[TaskLine], roles: Collection[Role]) -> list[GroupTold]:
    """By state, most urgent first; a state without tasks is left out."""
    found = []
    for state in State:
        tasks = [_task(line, roles) for line in lines if line.due.state is state]
        if tasks:
            found.append(GroupTold(state.value, str(STATES[state]), LOOK[state], tasks))
    return found


def _task(line: TaskLine, roles: Collection[Role]) -> TaskTold:
    task = line.due.task
    return TaskTold(line, said(task.words), str(ROLES[task.for_role]), task.for_role in roles)


class TaskDayForm(forms.Form):
    day = forms.DateField(widget=day_input())


class OwnTaskForm(forms.Form):
    words = forms.CharField(
        label=_("What is to be done"),
        max_length=WORDS_MOST,
        help_text=_("Everybody who works for the club reads it."),
    )
    day = forms.DateField(label=_("By when"), widget=day_input())
    for_role = forms.ChoiceField(
        label=_("Who does it"), choices=[(role.value, word) for role, word in ROLES.items()]
    )
