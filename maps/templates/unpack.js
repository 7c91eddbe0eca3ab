// Reading the short columns back; the alphabet and the signs are those of maps/packing.py.
const ALPHABET = data.alphabet;
const DIGIT = Object.fromEntries([...ALPHABET].map((char, k) => [char, k]));

function unpackRuns(text) {
  return text.replace(/([^])\{(\d+)\}/g, (_, char, count) => char.repeat(Number(count)));
}

function unpackNumbers(packed) {
  const text = unpackRuns(packed);
  const values = [];
  for (let k = 0; k < text.length; k += 1) {
    const char = text[k];
    const more = char === '~' ? 2 : char === '|' ? 4 : 0;
    if (char === ' ') values.push(null);
    else if (!more) values.push(DIGIT[char]);
    else {
      let value = 0;
      for (let d = 0; d < more; d += 1) { k += 1; value = value * ALPHABET.length + DIGIT[text[k]]; }
      values.push(value);
    }
  }
  return values;
}

function unpackTexts([texts, places]) {
  return unpackNumbers(places).map((place) => texts[place]);
}

// Season to date is the running sum of the weeks; rates are per trap-week of seven nights.
function unpackTraps() {
  const t = data.traps;
  for (const name of ['placement', 'interval', 'why', 'expected', 'design', 'zone']) t[name] = name === 'design' || name === 'zone' ? unpackNumbers(t[name]) : unpackTexts(t[name]);
  t.zone = t.zone.map((zone) => (zone === null ? -1 : zone));
  if (!t.location) t.location = t.id;
  t.status = t.status.map(unpackRuns);
  t.mark = t.mark.map(unpackRuns);
  t.weekAdults = t.weekAdults.map(unpackNumbers);
  t.weekNights = t.weekNights.map((line) => unpackNumbers(line).map((nights) => (nights === null ? null : nights / t.perNight)));
  t.adults = summed(t.weekAdults);
  t.nights = summed(t.weekNights);
}

function summed(weeks) {
  const sums = new Array(data.traps.id.length).fill(0);
  return weeks.map((line) => { line.forEach((value, k) => { sums[k] += value || 0; }); return sums.slice(); });
}

function rateOf(adults, nights) {
  return nights ? 7 * (adults || 0) / nights : null;
}
unpackTraps();
