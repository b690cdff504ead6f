// What a grid says on its button, apart from the page.

import { fill } from "./lib/page.js";

// "Sat 28 Nov", with the year where it is not this one; the server has the pattern of each.
export function dayInWords(isoDay, language, patterns, thisYear = new Date().getFullYear()) {
  const day = new Date(`${isoDay}T00:00:00Z`);
  if (Number.isNaN(day.getTime()) || !day.toISOString().startsWith(isoDay)) return "";
  const words = new Intl.DateTimeFormat(language, {
    weekday: "short",
    day: "numeric",
    month: "short",
    year: "numeric",
    timeZone: "UTC",
  }).formatToParts(day);
  const parts = Object.fromEntries(words.map(({ type, value }) => [type, value]));
  return fill(patterns[day.getUTCFullYear() === thisYear ? 0 : 1], parts);
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
