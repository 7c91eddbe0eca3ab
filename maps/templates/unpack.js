// Reading the short columns back; the alphabet and the signs are those of maps/packing.py.
const ALPHABET = data.alphabet;
const DIGIT = [];
[...ALPHABET].forEach((char, value) => { DIGIT[char.charCodeAt(0)] = value; });
const WIDTHS = { '~': 2, '|': 4 };

function unpackRuns(text) {
  return text.replace(/([^])\{(\d+)\}/g, (_, char, count) => char.repeat(Number(count)));
}

function unpackNumbers(packed) {
  const text = unpackRuns(packed);
  const values = [];
  for (let k = 0; k < text.length; k += 1) {
    const digit = DIGIT[text.charCodeAt(k)];
    if (digit !== undefined) values.push(digit);
    else if (text[k] === ' ') values.push(null);
    else {
      let value = 0;
      for (let left = WIDTHS[text[k]]; left > 0; left -= 1) { k += 1; value = value * ALPHABET.length + DIGIT[text.charCodeAt(k)]; }
      values.push(value);
    }
  }
  return values;
}

function unpackTexts([texts, places]) {
  return unpackNumbers(places).map((place) => texts[place]);
}

// A week is read back when it is first asked for: a long season has many, and the page opens on one.
function weekly(lines, unpack) {
  const ready = [];
  return (week) => { ready[week] ??= unpack(lines[week]); return ready[week]; };
}
const statusOf = weekly(data.traps.status, unpackRuns);
const markOf = weekly(data.traps.mark, unpackRuns);
const adultsOf = weekly(data.traps.weekAdults, unpackNumbers);
const nightsOf = weekly(data.traps.weekNights, (line) => unpackNumbers(line).map((nights) => nights && nights / data.traps.perNight));

function unpackTraps() {
  const t = data.traps;
  for (const name of ['placement', 'interval', 'why', 'expected']) t[name] = unpackTexts(t[name]);
  t.design = unpackNumbers(t.design);
  t.zone = unpackNumbers(t.zone).map((zone) => zone ?? -1);
  if (!t.location) t.location = t.id;
}

// Season to date is the sum of the weeks so far.
function toDate(valuesOf, week, k) {
  let sum = 0;
  for (let each = 0; each <= week; each += 1) sum += valuesOf(each)[k] || 0;
  return sum;
}

// Rates are per trap-week of seven nights.
function rateOf(adults, nights) {
  return nights ? 7 * (adults || 0) / nights : null;
}
unpackTraps();
