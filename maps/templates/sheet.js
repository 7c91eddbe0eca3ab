(function () {
'use strict';
const data = JSON.parse(document.getElementById('data').textContent);
const $ = (id) => document.getElementById(id);
const all = (css) => Array.from(document.querySelectorAll(css));
const STORE = 'snoutline round ' + data.site + ' ' + data.week;
const TEXT = new Map(data.statuses);
const { say, written } = languageOf(data.words);
const COUNTERS = data.counters;
const DAY_MS = 86400000;

/* ---- what the scout has entered, kept in the browser ---- */

let state = fresh();
let keeps = true;
let wiped = null;

function fresh() {
  return { at: 0, day: null, bycatch: true, traps: {} };
}

function load() {
  let text = null;
  try {
    text = localStorage.getItem(STORE);
    localStorage.setItem(STORE + ' test', '1');
    localStorage.removeItem(STORE + ' test');
  } catch {
    loseNothing();
    return;
  }
  if (text === null) return;
  try {
    const found = JSON.parse(text);
    if (typeof found.traps !== 'object' || found.traps === null) throw new TypeError('no traps');
    state = Object.assign(fresh(), found);
  } catch {
    localStorage.setItem(STORE + ' unreadable', text);
    shout(say('sheet_kept.unreadable'));
  }
  state.at = Math.min(Math.max(0, state.at | 0), data.stops.length - 1);
}

function save() {
  if (!keeps) return;
  try {
    localStorage.setItem(STORE, JSON.stringify(state));
  } catch {
    loseNothing();
  }
}

function loseNothing() {
  keeps = false;
  shout(say('sheet_kept.not_kept'));
}

function shout(text) {
  $('loud').textContent = text;
  $('loud').hidden = false;
}

const keyOf = (stop) => 'trap ' + stop.id;
const countKey = (counter) => counter.kind + ' ' + counter.name;
const entryOf = (stop) => state.traps[keyOf(stop)] || null;
const here = () => data.stops[state.at];

function touched(stop) {
  const key = keyOf(stop);
  if (!state.traps[key]) state.traps[key] = { status: '', counts: {}, minutes: '', note: '' };
  const entry = state.traps[key];
  // The day is fixed at the first touch: a round may take two days.
  if (entry.checked === undefined) entry.checked = roundDay();
  if (entry.set === undefined) entry.set = stop.set;
  return entry;
}

function today() {
  const now = new Date();
  const two = (n) => String(n).padStart(2, '0');
  return now.getFullYear() + '-' + two(now.getMonth() + 1) + '-' + two(now.getDate());
}

function roundDay() {
  const now = today();
  if (state.day && state.day.chosenOn === now) return state.day.date;
  if (now >= data.monday && now <= data.sunday) return now;
  return state.day ? state.day.date : data.day;
}

/* ---- what an entry is worth ---- */

const shown = (counter) => state.bycatch || counter.kind !== 'bycatch';
const wholeCount = (text) => /^[0-9]+$/.test(text) && Number(text) <= data.most;
const minutesOk = (text) => text === '' || (/^([0-9]+[.,]?[0-9]*|[.,][0-9]+)$/.test(text) && Number(text.replace(',', '.')) <= 1440);
const isDay = (text) => /^(19|20)[0-9]{2}-[0-9]{2}-[0-9]{2}$/.test(text || '');
const countOf = (entry, counter) => (entry && entry.counts[countKey(counter)]) || '';

function nightsOf(entry) {
  if (!isDay(entry.set) || !isDay(entry.checked)) return NaN;
  return Math.round((Date.parse(entry.checked) - Date.parse(entry.set)) / DAY_MS);
}

function isBlank(entry) {
  if (!entry) return true;
  return !entry.status && !entry.note.trim() && !entry.minutes && !COUNTERS.some((c) => countOf(entry, c));
}

/* What keeps a trap out of the file. */
function openPoints(entry) {
  const points = [];
  const add = (key, values) => points.push(say('sheet_open.' + key, undefined, values));
  if (!entry.status) add('no_status');
  if (!isDay(entry.set)) add('no_set_date');
  else if (!isDay(entry.checked)) add('no_checked_date');
  else if (nightsOf(entry) <= 0) add('not_after');
  if (entry.status === 'ok') {
    for (const counter of COUNTERS) {
      const text = countOf(entry, counter);
      if (text ? !wholeCount(text) : counter.required) add(text ? 'wrong_count' : 'no_count', { counter: counter.label });
    }
  }
  if (!minutesOk(entry.minutes)) add('wrong_minutes');
  return points;
}

/* What the file check will complain about although the row is complete. */
function doubts(stop, entry) {
  const found = [];
  const add = (key, number, values) => found.push(say('sheet_doubt.' + key, number, values));
  const nights = nightsOf(entry);
  if (entry.status === 'ok' && nights > data.nights) add('many_nights', nights, { most: data.nights });
  if (isDay(entry.checked) && (entry.checked < data.monday || entry.checked > data.sunday)) add('outside_week', undefined, { week: data.week });
  if (stop.removed && entry.checked > stop.removed) add('removed', undefined, { day: dayText(stop.removed) });
  if (stop.installed && entry.set && entry.set < stop.installed) add('installed', undefined, { day: dayText(stop.installed) });
  if (stop.recorded) add('recorded', undefined, { day: dayText(stop.recorded) });
  return found;
}

function dayText(iso) {
  const [year, month, day] = iso.split('-');
  return say('sheet_doubt.day', undefined, { year, month, day });
}

function stateOf(stop) {
  const entry = entryOf(stop);
  if (isBlank(entry)) return 'blank';
  return openPoints(entry).length ? 'open' : 'done';
}

function outcome(entry) {
  if (entry.status !== 'ok') return TEXT.get(entry.status);
  const caught = COUNTERS.filter((c) => c.kind !== 'bycatch' && c.required);
  return written(caught.reduce((sum, c) => sum + Number(countOf(entry, c)), 0));
}

/* ---- the file ---- */

function csvCell(text) {
  const mark = data.delimiter;
  return text.includes(mark) || /["\r\n]/.test(text) ? '"' + text.replaceAll('"', '""') + '"' : text;
}

/* A spreadsheet takes text for a formula only if nothing stands before it, and a blank is taken off
   again when the file is read. */
const plain = (text) => (/^[=+\-@\uff1d\uff0b\uff0d\uff20]/.test(text) ? ' ' + text : text);

function valueOf(name, stop, entry, row) {
  const counter = COUNTERS.find((c) => c.name === name && c.kind !== 'species');
  if (counter) return row.first && entry.status === 'ok' && shown(counter) ? tidy(countOf(entry, counter)) : '';
  switch (name) {
    case 'trap_id': return plain(stop.id);
    case 'set_on': return entry.set;
    case 'checked_on': return entry.checked;
    case 'status': return entry.status;
    case 'species': return plain(row.species);
    case 'adults': return row.adults;
    case 'minutes': return row.first ? entry.minutes.replace(/[.,]/, data.decimal) : '';
    case 'note': return row.first ? plain(entry.note.trim()) : '';
    default: return '';
  }
}

const tidy = (text) => (text === '' ? '' : String(Number(text)));

function visitRows(entry) {
  const species = COUNTERS.filter((c) => c.kind === 'species');
  const counted = entry.status === 'ok' ? species.filter((c) => countOf(entry, c) !== '') : [];
  if (!counted.length) return [{ species: '', adults: '', first: true }];
  return counted.map((c, n) => ({ species: c.name, adults: tidy(countOf(entry, c)), first: n === 0 }));
}

function csvText() {
  const lines = [data.columns.map(([header]) => csvCell(plain(header)))];
  for (const stop of data.stops) {
    if (stateOf(stop) !== 'done') continue;
    const entry = entryOf(stop);
    for (const row of visitRows(entry)) {
      lines.push(data.columns.map(([, name]) => csvCell(valueOf(name, stop, entry, row))));
    }
  }
  return lines.map((cells) => cells.join(data.delimiter)).join('\n') + '\n';
}

/* ---- drawing ---- */

function setText(node, text) {
  if (node.textContent !== text) node.textContent = text;
}

function drawTop() {
  const done = data.stops.filter((stop) => stateOf(stop) === 'done').length;
  setText($('progress'), say('sheet_trap.progress', data.stops.length, { done }));
  $('fill').style.width = (100 * done) / data.stops.length + '%';
}

function drawTrap() {
  const stop = here();
  const entry = entryOf(stop);
  setText($('trap-id'), stop.id);
  setText($('leg'), say('sheet_trap.way', undefined, { place: String(state.at + 1), leg: stop.leg }));
  setText($('where'), stop.where);
  drawDays(stop, entry);
  drawCounts(entry);
  if ($('minutes')) fill($('minutes'), entry ? entry.minutes : '', entry && !minutesOk(entry.minutes));
  if ($('note')) fill($('note'), entry ? entry.note : '', false);
  setText($('wipe'), say(wiped && wiped.key === keyOf(stop) ? 'sheet_trap.undo' : 'sheet_trap.clear'));
  $('back').disabled = state.at === 0;
  const next = data.stops[state.at + 1];
  setText($('next'), next ? say('sheet_trap.next', undefined, { name: next.id }) : say('sheet_trap.to_file'));
}

function drawDays(stop, entry) {
  const days = { set: entry && entry.set !== undefined ? entry.set : stop.set, checked: entry && entry.checked !== undefined ? entry.checked : roundDay() };
  fill($('set-on'), days.set, false);
  fill($('checked-on'), days.checked, false);
  const nights = nightsOf(days);
  setText($('nights'), Number.isNaN(nights) ? '' : say('sheet_trap.nights', nights));
  const told = doubts(stop, { status: entry ? entry.status || 'ok' : 'ok', ...days });
  if (!isDay(days.set)) told.unshift(say('sheet_doubt.no_set_date'));
  else if (nights <= 0) told.unshift(say('sheet_doubt.not_after'));
  setText($('doubt'), told.join(' '));
  $('doubt').hidden = !told.length;
}

function drawCounts(entry) {
  const status = entry ? entry.status : '';
  for (const button of all('[data-status]')) button.setAttribute('aria-pressed', String(button.dataset.status === status));
  const isVoid = status !== '' && status !== 'ok';
  $('counts').hidden = isVoid;
  $('void').hidden = !isVoid;
  const tapped = COUNTERS.some((c) => countOf(entry, c));
  if (isVoid) setText($('void'), say(tapped ? 'sheet_void.kept_out' : 'sheet_void.no_count', undefined, { why: TEXT.has(status) ? say('sheet_void.' + status) : status }));
  let blanks = 0;
  COUNTERS.forEach((counter, n) => {
    const row = document.querySelector('[data-counter="' + n + '"]');
    const text = countOf(entry, counter);
    row.hidden = !shown(counter);
    if (shown(counter) && text === '') blanks += 1;
    fill(row.querySelector('input'), text, text !== '' && !wholeCount(text));
  });
  const inUse = COUNTERS.filter(shown).length;
  setText($('zero'), say(blanks === inUse ? 'sheet_trap.zero_all' : blanks ? 'sheet_trap.zero_rest' : 'sheet_trap.zero_none'));
  $('zero').disabled = !blanks;
}

function fill(input, text, wrong) {
  if (input.value !== text) input.value = text;
  input.classList.toggle('wrong', Boolean(wrong));
  input.setAttribute('aria-invalid', String(Boolean(wrong)));
}

function drawList() {
  all('#stops button').forEach((button, n) => {
    const stop = data.stops[n];
    const kind = stateOf(stop);
    const entry = entryOf(stop);
    button.dataset.state = kind;
    button.toggleAttribute('aria-current', n === state.at);
    setText(button.querySelector('em'), kind === 'done' ? outcome(entry) : kind === 'open' ? say('sheet_trap.unfinished') : stop.recorded ? say('sheet_trap.recorded') : '');
  });
}

function drawPlan() {
  all('.plan .stop').forEach((dot, n) => {
    dot.classList.toggle('done', stateOf(data.stops[n]) === 'done');
    dot.classList.toggle('here', n === state.at);
  });
  const dot = document.querySelector('.plan .here');
  const frame = document.querySelector('.frame');
  if (!dot || !frame.clientWidth) return;
  const [box, spot] = [frame.getBoundingClientRect(), dot.getBoundingClientRect()];
  frame.scrollLeft += spot.left - box.left - box.width / 2;
}

function drawFile() {
  const kinds = data.stops.map(stateOf);
  const number = (kind) => kinds.filter((each) => each === kind).length;
  const parts = [say('sheet_kept.done', data.stops.length, { done: number('done') })];
  if (number('blank')) parts.push(say('sheet_kept.untouched', number('blank')));
  if (number('open')) parts.push(say('sheet_kept.unfinished', number('open')));
  const strangers = Object.keys(state.traps).filter((key) => !data.stops.some((stop) => keyOf(stop) === key));
  if (strangers.length) parts.push(say('sheet_kept.strangers', strangers.length));
  setText($('sum'), parts.join(' '));
  const list = document.createElement('ul');
  data.stops.forEach((stop, n) => {
    const entry = entryOf(stop);
    if (kinds[n] === 'blank') return;
    const told = kinds[n] === 'open' ? openPoints(entry) : doubts(stop, entry);
    if (!told.length) return;
    const button = document.createElement('button');
    button.type = 'button';
    const points = told.reduce((before, point) => say('sheet_open.between', undefined, { points: before, point }));
    button.textContent = say('sheet_open.trap', undefined, { name: stop.id, points });
    button.addEventListener('click', () => openTrap(n));
    list.appendChild(document.createElement('li')).appendChild(button);
  });
  $('open').replaceChildren(list);
  $('csv').value = csvText();
  $('bycatch').checked = state.bycatch;
  $('bycatch').parentElement.hidden = !COUNTERS.some((c) => c.kind === 'bycatch');
  $('save').disabled = $('copy').disabled = !number('done');
  setText($('save'), say('sheet_kept.save', undefined, { file: data.file }));
}

const DRAW = { trap: drawTrap, list: drawList, plan: drawPlan, file: drawFile };
const HEADS = { trap: 'trap-id', list: 'list-head', plan: 'plan-head', file: 'file-head' };

function draw() {
  drawTop();
  DRAW[document.body.dataset.view]();
}

/* `focus` is off where the pressed button stays, so that it can be pressed again. */
function show(view, focus) {
  document.body.dataset.view = view;
  for (const tab of all('[data-go]')) tab.toggleAttribute('aria-current', tab.dataset.go === view);
  $('sure').hidden = true;
  setText($('told'), '');
  draw();
  scrollTo(0, 0);
  if (view === 'list') {
    const row = document.querySelector('#stops [aria-current]');
    if (row) row.scrollIntoView({ block: 'center' });
  }
  if (focus) $(HEADS[view]).focus({ preventScroll: true });
}

function openTrap(n, focus = true) {
  state.at = n;
  wiped = null;
  save();
  show('trap', focus);
}

/* ---- taps and keys ---- */

function change(edit) {
  const entry = touched(here());
  edit(entry);
  wiped = null;
  save();
  draw();
}

function step(entry, counter, by) {
  const text = countOf(entry, counter);
  const number = wholeCount(text) ? Number(text) : 0;
  // Less than blank stays blank: only a tap on + or on 0 is a count.
  if (by < 0 && text === '') return;
  entry.counts[countKey(counter)] = String(Math.min(data.most, Math.max(0, number + by)));
  if (!entry.status) entry.status = 'ok';
}

function zero(entry) {
  for (const counter of COUNTERS) {
    if (shown(counter) && countOf(entry, counter) === '') entry.counts[countKey(counter)] = '0';
  }
  entry.status = 'ok';
}

function typed(entry, counter, text) {
  entry.counts[countKey(counter)] = text;
  if (text !== '' && !entry.status) entry.status = 'ok';
}

function stepMinutes(entry, by) {
  const number = minutesOk(entry.minutes) ? Number(entry.minutes.replace(',', '.')) : 0;
  if (by < 0 && entry.minutes === '') return;
  const stepped = Math.min(1440, Math.max(0, number + by));
  // Thousandths: 2.3 less 1 is 1.3, not what is left of it in binary.
  entry.minutes = String(Math.round(1000 * stepped) / 1000).replace('.', data.decimal);
}

function wipe() {
  const key = keyOf(here());
  if (wiped && wiped.key === key) {
    state.traps[key] = wiped.entry;
    wiped = null;
  } else if (state.traps[key]) {
    wiped = { key, entry: state.traps[key] };
    delete state.traps[key];
  }
  save();
  draw();
}

/* The mark says UTF-8 to whoever expects another encoding; plain English letters need none. */
function fileText() {
  const text = csvText();
  return (data.marked || /[^\0-\x7f]/.test(text) ? '\ufeff' : '') + text;
}

function saveFile() {
  const link = document.createElement('a');
  link.href = URL.createObjectURL(new Blob([fileText()], { type: 'text/csv;charset=utf-8' }));
  link.download = data.file;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  setText($('told'), say('sheet_kept.saved', undefined, { file: data.file }));
}

function copyText() {
  const text = csvText();
  const done = () => setText($('told'), say('sheet_kept.copied'));
  const byHand = () => {
    $('csv').focus();
    $('csv').select();
    const copied = document.execCommand('copy');
    if (copied) done();
    else setText($('told'), say('sheet_kept.copy_by_hand'));
  };
  if (navigator.clipboard) navigator.clipboard.writeText(text).then(done, byHand);
  else byHand();
}

function erase() {
  state = fresh();
  wiped = null;
  save();
  show('trap', true);
}

function chooseDay(text) {
  if (isDay(text)) state.day = { date: text, chosenOn: today() };
  change((entry) => { entry.checked = text; });
}

function listen() {
  for (const tab of all('[data-go]')) tab.addEventListener('click', () => show(tab.dataset.go, false));
  for (const button of all('[data-status]')) {
    button.addEventListener('click', () => change((entry) => {
      entry.status = entry.status === button.dataset.status ? '' : button.dataset.status;
    }));
  }
  COUNTERS.forEach((counter, n) => {
    const row = document.querySelector('[data-counter="' + n + '"]');
    row.querySelector('.less').addEventListener('click', () => change((entry) => step(entry, counter, -1)));
    row.querySelector('.more').addEventListener('click', () => change((entry) => step(entry, counter, 1)));
    row.querySelector('input').addEventListener('input', (event) => change((entry) => typed(entry, counter, event.target.value.trim())));
  });
  listenToFields();
  $('zero').addEventListener('click', () => change(zero));
  $('wipe').addEventListener('click', wipe);
  $('back').addEventListener('click', () => openTrap(state.at - 1, false));
  $('next').addEventListener('click', () => (state.at + 1 < data.stops.length ? openTrap(state.at + 1, false) : show('file', true)));
  all('#stops button').forEach((button, n) => button.addEventListener('click', () => openTrap(n)));
  all('.plan .stop').forEach((dot, n) => dot.addEventListener('click', () => openTrap(n)));
  listenToFile();
}

function listenToFields() {
  $('set-on').addEventListener('change', (event) => change((entry) => { entry.set = event.target.value; }));
  $('checked-on').addEventListener('change', (event) => chooseDay(event.target.value));
  if ($('note')) $('note').addEventListener('input', (event) => change((entry) => { entry.note = event.target.value; }));
  if (!$('minutes')) return;
  const row = $('minutes-row');
  row.querySelector('.less').addEventListener('click', () => change((entry) => stepMinutes(entry, -1)));
  row.querySelector('.more').addEventListener('click', () => change((entry) => stepMinutes(entry, 1)));
  $('minutes').addEventListener('input', (event) => change((entry) => { entry.minutes = event.target.value.trim(); }));
}

function listenToFile() {
  $('save').addEventListener('click', saveFile);
  $('copy').addEventListener('click', copyText);
  $('print').addEventListener('click', () => print());
  $('bycatch').addEventListener('change', (event) => { state.bycatch = event.target.checked; save(); draw(); });
  $('erase').addEventListener('click', () => { $('sure').hidden = false; $('erase-no').focus(); });
  $('erase-no').addEventListener('click', () => { $('sure').hidden = true; $('erase').focus(); });
  $('erase-yes').addEventListener('click', erase);
  // The same round open twice: the newer entries win everywhere.
  addEventListener('storage', (event) => {
    if (event.key === STORE && event.newValue !== null) { const at = state.at; load(); state.at = at; draw(); }
  });
  addEventListener('beforeunload', (event) => {
    if (!keeps && data.stops.some((stop) => stateOf(stop) !== 'blank')) event.preventDefault();
  });
}

load();
listen();
show('trap', false);
})();
