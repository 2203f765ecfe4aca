"""An invented hospital in which an account of each role is signed in, and the pages as each of them sees them."""

import shutil
from typing import NamedTuple

import pytest
from streamlit.testing.v1 import AppTest

from collector.people.rights import ADMINISTRATOR, ENGINEER, PLANNER, WARD
from collector.people.signin import sign_in
from collector.service.work import work_orders
from collector.site import parse_site
from collector.store.journal import JournalWriter
from dashboard import actions, past, place_words, queries
from dashboard import service_actions as acts
from dashboard.actions import Person
from tests.dashboard.conftest import SCREENS
from tests.dashboard.hospital import MINUTE, Hospital, troubled
from tests.dashboard.test_people import PASSWORD, add
from tests.dashboard.upkeep import upkeep_text

#: Who is signed in: role, and the wards to which the account is held (none: it acts in all).
ACCOUNTS: dict[str, tuple[str, tuple[str, ...]]] = {
    "nurse": (WARD, ("medical",)),
    "engineer": (ENGINEER, ()),
    "ward-engineer": (ENGINEER, ("medical",)),
    "planner": (PLANNER, ()),
    "ward-planner": (PLANNER, ("medical",)),
    "boss": (ADMINISTRATOR, ()),
    "ward-boss": (ADMINISTRATOR, ("medical",)),
}
#: Units of each ward: whose alarm speaks, whose alarm is put aside, one in service, two out of service (the first with
#: a work order, the second just taken out).
UNITS = {
    "medical": {"loud": "unit-03", "aside": "unit-03", "good": "unit-01", "order": "unit-04", "out": "unit-05"},
    "surgical": {"loud": "unit-09", "aside": "unit-07", "good": "unit-06", "order": "unit-08", "out": "unit-10"},
}
TITLES = {"medical": "Medical", "surgical": "Surgical"}
CYLINDER = '\n[[cylinder]]\nid = "surgical-1"\nward = "surgical"\nwater_l = 10\n'


class House:
    """Pages are run on one store and what is done is written to a copy of it, so that no test sees another's rows."""

    def __init__(self, root):
        self.shown, self.written = root / "shown", root / "written"
        text = (upkeep_text(10) + CYLINDER).replace("sim-lakeside", "lakeside")
        one = Hospital(self.shown, text, queries.wall_ms() - 40 * MINUTE)
        one.play(40, troubled)
        one.say()
        self.site, self.now_ms = parse_site(text), one.now_ms
        self._happen(one)
        one.store.close()
        for login, (role, wards) in ACCOUNTS.items():
            add(self.shown, login, role, wards)
        self.tokens = {login: sign_in(self.shown, login, PASSWORD, "10.0.0.7") for login in ACCOUNTS}
        self.now = queries.now(self.shown)
        self.orders = {order.unit: order for order in work_orders(queries.service_rows(self.shown)).values()}
        shutil.copytree(self.shown, self.written)
        self._pages: dict[tuple, AppTest] = {}

    def _happen(self, one):
        """In each ward an alarm is put aside, a unit is under repair, and one was taken out a moment ago."""
        amie, rows, before = Person("Amie Example", ENGINEER), [], queries.now(self.shown)
        for ward, units in UNITS.items():
            alarm = next(a for a in before.alarms if (a.unit, a.condition) == (units["aside"], "purity-amber"))
            rows += [
                actions.shelve(alarm, amie, one.now_ms, 60, "known"),
                actions.take_out(units["order"], ward, amie, one.now_ms, "weak"),
                acts.open_work(self.site, units["order"], amie, one.now_ms, "weak", taken=()),
                actions.take_out(units["out"], ward, amie, one.now_ms, "weak"),
            ]
        self.made = {(row.kind, row.unit): row.seq for row in JournalWriter(self.shown).append(rows)}
        one.fold()

    def page(self, me, name, /, *, choose="", state=(), **query):
        """A page as this person sees it; `choose` selects in its first list, `state` are (key, value) set before."""
        key = (me.login, name, choose, state, *query.items())
        if key not in self._pages:
            app = AppTest.from_file(str(SCREENS / f"{name}.py"), default_timeout=60)
            for one, value in query.items():
                app.query_params[one] = value
            for one, value in state:
                app.session_state[one] = value
            with pytest.MonkeyPatch.context() as less:  # a unit's past takes half of the time and has no button
                less.setattr(past, "_charts", lambda *of: None)
                app.run()
                self._pages[key] = app.selectbox[0].select(choose).run() if choose else app
            assert not app.exception, app.exception
        return self._pages[key]


class Me(NamedTuple):
    """Somebody who is signed in."""

    login: str
    person: Person

    def may(self, action, ward):
        """Whether the table lets them do it there."""
        wards = self.person.wards
        return self.person.role in action.roles and (not action.of_ward or not wards or ward in wards)


class Seen(NamedTuple):
    """What somebody sees of a ward: its units, and pages."""

    house: House
    me: Me
    ward: str

    @property
    def unit(self):
        return UNITS[self.ward]

    def page(self, name, **more):
        return self.house.page(self.me, name, **more)

    def work(self):
        return self.page("work", order=self.house.orders[self.unit["order"]].work)

    def task(self, task):
        """The page of a unit with this task chosen, where it is one of those that are offered."""
        unit = self.unit["good"]
        title = next(one.name for one in self.house.site.model("five").task if one.id == task)
        app = self.page("unit", unit=unit)
        if any(title in label for label in choices(app, f"task-{unit}")):
            app = self.page("unit", unit=unit, state=((f"task-{unit}", task),))
        return app

    def outcome(self, task, said):
        return (said in choices(self.task(task), f"outcome-{self.unit['good']}-{task}"),)


def keys(app):
    kinds = ("button", "selectbox", "text_input", "text_area", "checkbox", "multiselect", "button_group")
    return {one.key for kind in kinds for one in app.get(kind) if one.key}


def has(app, begin):
    return any(key == begin or key.startswith(f"{begin}:") for key in keys(app))


def choices(app, key):
    """The labels of a list or of pills; none where it is not drawn."""
    return [label for kind in ("selectbox", "multiselect", "button_group") for one in app.get(kind) if one.key == key
            for label in one.options]  # fmt: skip


def names(app, key, unit):
    return any(unit in label for label in choices(app, key))


def does(app, unit, what):
    return place_words.DOINGS[what] in choices(app, f"do-{unit}")
