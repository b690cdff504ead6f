// What a grid says on its button, apart from the page.

import { fill } from "./lib/page.js";

// "Sat 28 Nov", with the year where it is not this one.
export function dayInWords(isoDay, language, thisYear = new Date().getFullYear()) {
  const day = new Date(`${isoDay}T00:00:00Z`);
  if (Number.isNaN(day.getTime()) || !day.toISOString().startsWith(isoDay)) return "";
  const words = new Intl.DateTimeFormat(language, {
    weekday: "short",
    day: "numeric",
    month: "short",
    year: "numeric",
    timeZone: "UTC",
  }).formatToParts(day);
  const part = (type) => words.find((one) => one.type === type).value;
  const said = [part("weekday"), part("day"), part("month")];
  if (day.getUTCFullYear() !== thisYear) said.push(part("year"));
  return said.join(" ");
}

// What is chosen, in words: "9 passes and 1 fail"; empty where nothing is.
export function counted(values, words) {
  return Object.entries(words.kinds)
    .map(([value, [one, many]]) => {
      const n = values.filter((chosen) => chosen === value).length;
      return n && fill(n === 1 ? one : many, { n });
    })
    .filter(Boolean)
    .join(words.and);
}
