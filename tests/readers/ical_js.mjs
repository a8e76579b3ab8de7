// Expands the calendar on standard input with ical.js and prints what it found.
// Arguments: first and last moment, in seconds since 1970.
import { readFileSync } from "node:fs";
import ICAL from "ical.js";

const [first, last] = process.argv.slice(2).map(Number);
const calendar = new ICAL.Component(ICAL.parse(readFileSync(0, "utf8")));
// A zone is taken as the file describes it, never by its name.
for (const zone of calendar.getAllSubcomponents("vtimezone")) {
  ICAL.TimezoneService.register(zone);
}

const byUid = new Map();
for (const one of calendar.getAllSubcomponents("vevent")) {
  const uid = one.getFirstPropertyValue("uid");
  if (!byUid.has(uid)) byUid.set(uid, []);
  byUid.get(uid).push(one);
}

const found = [];
const seconds = (time) => time.toUnixTime();
function note(uid, start, end, component) {
  if (seconds(start) < last && seconds(end) > first) {
    found.push([
      uid,
      seconds(start),
      seconds(end),
      component.getFirstPropertyValue("summary") ?? "",
    ]);
  }
}

for (const [uid, components] of byUid) {
  const changed = components.filter((one) => one.hasProperty("recurrence-id"));
  const master = components.find((one) => !one.hasProperty("recurrence-id"));
  if (master === undefined) {
    for (const one of changed) {
      const event = new ICAL.Event(one, { strictExceptions: true });
      note(uid, event.startDate, event.endDate, one);
    }
    continue;
  }
  // Only this series' own exceptions: else it takes those of all others too.
  const event = new ICAL.Event(master, { strictExceptions: true, exceptions: changed });
  if (!event.isRecurring()) {
    note(uid, event.startDate, event.endDate, master);
    continue;
  }
  const steps = event.iterator();
  for (let next = steps.next(), n = 0; next && n < 2000; next = steps.next(), n += 1) {
    if (seconds(next) > last + 366 * 86400) break;
    const details = event.getOccurrenceDetails(next);
    note(uid, details.startDate, details.endDate, details.item.component);
  }
}
console.log(JSON.stringify(found));
