"""How do due dates get into a telephone? An iCalendar file (RFC 5545) whose events a later file brings up to date.

Every cleaning is an event of whole days on its due date, in no time zone, so that it stands on the store's own date wherever
the telephone is. Its UID comes from store, equipment and rule and never from a date, and SEQUENCE grows with the time at which the
file was made: a calendar that has the event moves it. What is overdue, and what has no date, reaches to the day that the schedule
was made for, so that it is seen there. The alarm sounds at nine in the morning.

The file has no METHOD: it is a snapshot to import and no message of scheduling (RFC 5545, 3.7.2). `PUBLISH` would ask for an ORGANIZER
(RFC 5546, 3.2.1), which nobody is, and which an event without attendees must not have (RFC 5545, 3.8.4.3).
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from uuid import NAMESPACE_URL, uuid5

from icalendar import Alarm, Calendar, Event, vText

from validator.language import said, spoken, tr
from validator.reports.layout import GOVERNS
from validator.reports.visible import sentence
from validator.schedule import Cleaning, Schedule

_NAMESPACE = uuid5(NAMESPACE_URL, "urn:cip-audit:due")
_BEFORE_MIDNIGHT = timedelta(hours=15)
"""From nine in the morning to the end of the day."""
_DAY = timedelta(days=1)


def render(schedule: Schedule) -> bytes:
    """The schedule as `text/calendar`: CRLF line ends, lines folded at 75 octets, the same bytes for the same schedule."""
    calendar = Calendar()
    calendar.add("prodid", f"-//cip-audit//due//{spoken().upper()}")
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("name", tr("Cleaning due"))
    calendar.add("x-wr-calname", tr("Cleaning due"))
    for cleaning in schedule.cleanings:
        calendar.add_component(_event(cleaning, schedule))
    return bytes(calendar.to_ical())


def uid(cleaning: Cleaning) -> str:
    """The name of a cleaning's event: the same for the same store, equipment and rule, in every file."""
    return str(uuid5(_NAMESPACE, "\n".join(map(repr, (cleaning.store_id, cleaning.equipment_id, cleaning.rule)))))


def _event(cleaning: Cleaning, schedule: Schedule) -> Event:
    made = datetime.fromisoformat(schedule.generated_at).astimezone(UTC)
    due = date.fromisoformat(cleaning.due_on or schedule.as_of[:10])
    over = max(0, -(cleaning.days_left or 0))
    late = over > 0 or cleaning.days_left is None
    event = Event()
    event.add("uid", uid(cleaning))
    event.add("dtstamp", made)
    event.add("last-modified", made)
    event.add("sequence", max(0, int(made.timestamp()) // 60))
    event.add("dtstart", due)
    event.add("dtend", due + _DAY * (over + 1))
    event.add("summary", _summary(cleaning))
    event.add("description", _description(cleaning))
    event.add("location", sentence(", ".join(filter(None, (cleaning.store_name, cleaning.store_id)))))
    event.add("categories", [tr("Cleaning")])
    event.add("transp", "TRANSPARENT")
    event.add("priority", 1 if late else 5)
    event.add_component(_alarm(cleaning, late))
    return event


def _alarm(cleaning: Cleaning, late: bool) -> Alarm:
    """At nine in the morning: as many days before as the rule warns, one at the least; of what is late on the last day shown."""
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", _summary(cleaning))
    if late:
        alarm.add("trigger", -_BEFORE_MIDNIGHT, parameters={"RELATED": "END"})
    else:
        alarm.add("trigger", -_BEFORE_MIDNIGHT - _DAY * (max(cleaning.warn_days, 1) - 1))
    return alarm


def _summary(cleaning: Cleaning) -> vText:
    if cleaning.days_left is None:
        template = "{machine}: clean, no date of a cleaning is on record ({rule})"
    elif cleaning.days_left < 0:
        template = "{machine}: clean, overdue since {day} ({rule})"
    else:
        template = "{machine}: last day to clean ({rule})"
    return vText(sentence(tr(template, machine=cleaning.equipment_id, day=cleaning.due_on, rule=cleaning.rule)))


def _description(cleaning: Cleaning) -> vText:
    lines = [
        cleaning.action,
        f"{cleaning.rule}: {cleaning.title}.",
        cleaning.why[:1].upper() + cleaning.why[1:] + ".",
        tr("Not certain: {doubt}.", doubt=cleaning.doubt) if cleaning.doubt else "",
        tr("Limit from {source}.", source=cleaning.limit_from) if cleaning.limit_from else "",
        tr("Take care:") if cleaning.cautions else "",
        *(f"- {caution}" for caution in cleaning.cautions),
        said(GOVERNS),
    ]
    return vText("\n".join(sentence(line) for line in lines if line))
