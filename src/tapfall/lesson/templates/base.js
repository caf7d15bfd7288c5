// What everything else stands on: the set, the words, a few shorthands.
const set = JSON.parse(document.getElementById("set").textContent);
const byId = (id) => document.getElementById(id);

function words_of(key, values = {}) {
  return set.words[key].replace(/\{(\w+)\}/g, (_, name) => String(values[name]));
}

// Said to screen readers and shown; the same words twice are said twice.
function say(text) {
  const line = byId("said");
  line.textContent = line.textContent === text ? text + "\u00a0" : text;
}

function made(name, values = {}, ...inside) {
  const one = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(values)) one.setAttribute(key, value);
  one.append(...inside);
  return one;
}
