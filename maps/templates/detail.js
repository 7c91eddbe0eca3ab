// What is selected: its outline on the map, its row in the table, its facts in the panel.
const panel = document.getElementById('detail');
const table = document.querySelector('#zones table');
const scroller = document.getElementById('zones');
const nothingChosen = panel.textContent;
let chosen = null;
let openParts = new Set();
data.story.limits = unpackTexts(data.story.limits);

function choose(kind, k, from) {
  chosen = { kind, k };
  markOnMap(from !== 'map');
  markRow(from);
  told.textContent = '';
  showDetail();
  remember(true);
  if (from === 'table') map.getContainer().scrollIntoView({ block: 'center', behavior: calm ? 'auto' : 'smooth' });
  // Whoever follows a link on a phone asks for the story, which stands far below the map there.
  if (from === 'link' && window.innerWidth < 900 && panel.getBoundingClientRect().top > window.innerHeight) panel.scrollIntoView({ block: 'start' });
}

function unchoose() {
  if (chosen === null) return;
  chosen = null;
  layers.chosen.clearLayers();
  table.querySelectorAll('tr.chosen').forEach((row) => { row.classList.remove('chosen'); row.removeAttribute('aria-selected'); });
  panel.replaceChildren(textElement('p', nothingChosen, 'fine'));
}

function markOnMap(zoom) {
  const { kind, k } = chosen;
  layers.chosen.clearLayers();
  if (kind === 'zone') {
    const look = { fill: false, interactive: false, lineJoin: 'round' };
    L.polygon(data.zones.shape[k], styled('chosen', { ...look, color: 'colour(PAPER)', weight: 11 })).addTo(layers.chosen);
    L.polygon(data.zones.shape[k], styled('chosen', { ...look, color: 'colour(ACT)', weight: 6, className: 'halo' })).addTo(layers.chosen);
    if (zoom) map.fitBounds(zones[k].getBounds().pad(0.6), { animate: !calm, maxZoom: 20 });
    return;
  }
  const at = kind === 'trap' ? data.traps.at[k] : data.suggestions[k][1];
  L.circleMarker(at, styled('chosen', { radius: 20, fill: false, color: 'colour(PAPER)', weight: 8, interactive: false })).addTo(layers.chosen);
  L.circleMarker(at, styled('chosen', { radius: 20, fill: false, color: 'colour(ACT)', weight: 4, interactive: false, className: 'halo' })).addTo(layers.chosen);
  if (zoom) map.setView(at, Math.max(map.getZoom(), map.getBoundsZoom(data.bounds) + 2), { animate: !calm });
}

function rowOf(zone) {
  return table.querySelector(`tr[data-zone="${zone}"]`);
}

function markRow(from) {
  table.querySelectorAll('tr.chosen').forEach((row) => {
    row.classList.remove('chosen');
    row.removeAttribute('aria-selected');
  });
  const zone = chosen.kind === 'zone' ? chosen.k : chosen.kind === 'trap' ? data.traps.zone[chosen.k] : -1;
  if (zone < 0) return;
  const row = rowOf(zone);
  row.classList.add('chosen');
  row.setAttribute('aria-selected', 'true');
  if (from !== 'table') scroller.scrollTop = row.offsetTop - scroller.clientHeight / 2;
}

function facts(pairs) {
  const list = document.createElement('dl');
  for (const [name, value] of pairs) {
    if (!value) continue;
    const text = document.createElement('dd');
    text.append(textElement('bdi', value));
    list.append(textElement('dt', name), text);
  }
  return list;
}

function nightsSaid(nights) {
  return say('map_panel.nights', Math.round(nights));
}

// The rate to date; of the last week with its interval, which `interval` says.
function rateLine(rate, nights, interval, adults) {
  if (!nights) return say('map_panel.no_nights');
  const per = rate === null ? say('map_panel.not_comparable') : interval(rateText(rate));
  const told = { rate: per, nights: nightsSaid(nights) };
  if (adults === undefined) return say('map_panel.effort', undefined, told);
  return say('map_panel.effort_adults', undefined, { ...told, adults: say('map_panel.adults', adults) });
}

function withInterval(key, name, text) {
  const shown = text && currentWeek === lastWeek;
  return (rate) => say(shown ? `map_panel.${key}` : 'map_panel.rate', undefined, { rate, [name]: text });
}

function factsSaid(pairs) {
  return pairs.map(([key, value]) => [say(`map_panel.${key}`, data.weeks[currentWeek][0]), value]);
}

function evidenceFacts(k) {
  const evidence = evidenceOf(currentWeek);
  return evidence ? [['evidence', evidence.verdicts[k]], ['next', evidence.nexts[k]]] : [];
}

function pick(kind, k, text) {
  const button = document.createElement('button');
  button.type = 'button';
  button.className = 'pick';
  button.append(textElement('bdi', text));
  button.addEventListener('click', () => choose(kind, k, 'panel'));
  return button;
}

function part(title, ...content) {
  const box = document.createElement('section');
  box.append(textElement('h4', title), ...content);
  return box;
}

function lines(texts) {
  const list = document.createElement('ul');
  for (const text of texts) {
    const item = document.createElement('li');
    item.append(textElement('bdi', text));
    list.append(item);
  }
  return list;
}

function weekTable(caption, heads, rows) {
  const folded = document.createElement('details');
  const box = textElement('table', '', 'story');
  const head = document.createElement('tr');
  heads.forEach((name) => { const cell = textElement('th', say(`map_panel.${name}`)); cell.scope = 'col'; head.append(cell); });
  box.append(textElement('caption', caption, 'hidden'), head);
  for (const [first, ...rest] of rows) {
    const line = document.createElement('tr');
    const cell = textElement('th', first);
    cell.scope = 'row';
    line.append(cell, ...rest.map((text) => textElement('td', text)));
    box.append(line);
  }
  folded.append(textElement('summary', caption), box);
  return folded;
}

// The weeks of one zone by themselves: rate, low and high of each week, or null.
function zoneWeeks(k) {
  const weeks = data.weeks.map(() => null);
  const flat = data.story.curve[k] || [];
  for (let at = 0; at < flat.length; at += 4) weeks[flat[at]] = flat.slice(at + 1, at + 4);
  return weeks;
}

function zoneChart(weeks) {
  // A lone trap's interval can be a hundred times its rate: the axis follows the rates, the table has the figures.
  const rates = weeks.map((week) => (week ? week[0] : 0));
  const ends = weeks.map((week) => (week ? week[2] : 0));
  const top = niceTop(Math.max(0.1, Math.min(Math.max(...ends), 3 * Math.max(1, ...rates))));
  const [width, height, left, foot] = [340, 120, 34, 18];
  const slot = (width - left - 8) / weeks.length;
  const x = (n) => left + slot * (n + 0.5);
  const y = (rate) => height - foot - (height - foot - 10) * rate / top;
  const svg = svgElement('svg', { class: 'curve small', viewBox: `0 0 ${width} ${height}`, 'aria-hidden': 'true' });
  for (const share of [0, 0.5, 1]) {
    svg.append(svgElement('path', { d: `M${left} ${y(top * share)}H${width - 8}`, class: share ? 'grid' : 'axis' }));
    svg.append(svgElement('text', { x: left - 5, y: y(top * share) + 4, 'text-anchor': 'end' }, written(top * share)));
  }
  const every = Math.ceil(weeks.length / 10);
  weeks.forEach((week, n) => {
    if (n === currentWeek) svg.append(svgElement('path', { d: `M${x(n)} 4V${height - foot}`, class: 'now' }));
    if (week) {
      svg.append(svgElement('path', { d: `M${x(n)} ${y(week[1])}V${y(Math.min(week[2], top)) - (week[2] > top ? 6 : 0)}`, class: week[2] > top ? 'range beyond' : 'range' }));
      svg.append(svgElement('circle', { cx: x(n), cy: y(week[0]), r: 3, class: 'point' }));
    }
    if ((weeks.length - 1 - n) % every === 0) svg.append(svgElement('text', { x: x(n), y: height - 4, 'text-anchor': 'middle' }, String(data.weeks[n][0])));
  });
  return svg;
}

function rangeSaid([, low, high]) {
  return say('map_panel.range', undefined, { low: rateText(low), high: rateText(high) });
}

function zoneStory(k) {
  const { story } = data;
  const parts = [];
  const weeks = zoneWeeks(k);
  if (weeks.some((week) => week)) {
    const rows = weeks.map((week, n) => [String(data.weeks[n][0]), week ? rateText(week[0]) : say('map_panel.no_count'), week ? rangeSaid(week) : '']);
    parts.push(part(say('map_panel.by_week'), zoneChart(weeks), textElement('p', say('map_panel.by_week_note'), 'fine'),
      weekTable(say('map_panel.by_week_figures'), ['col_week', 'col_rate', 'col_interval'], rows)));
  }
  parts.push(part(say('map_panel.limit'), lines([story.limits[k]])));
  parts.push(part(say('map_panel.cores'), lines(story.cores[k] || [say('map_panel.no_cores')])));
  parts.push(part(say('map_panel.treatments'), lines(story.treatments[k] || [say('map_panel.no_treatments')])));
  const own = data.traps.id.map((_, trap) => trap).filter((trap) => data.traps.zone[trap] === k);
  if (own.length) {
    const list = textElement('p', '', 'picks');
    own.forEach((trap) => list.append(pick('trap', trap, data.traps.location[trap]), ' '));
    parts.push(part(say('map_panel.its_traps'), list));
  }
  return parts;
}

function visitSaid(code) {
  return code ? say(`visit.${code}`) : say('map_panel.not_in_use');
}

function trapStory(k) {
  const t = data.traps;
  const rows = data.weeks.map(([number], week) => {
    const code = data.chars.status[statusOf(week).charAt(k)];
    const [adults, nights] = [adultsOf(week)[k], nightsOf(week)[k]];
    const caught = code === 'ok' ? [written(adults || 0), written(nights || 0), rateText(rateOf(adults, nights))] : ['', '', ''];
    return [String(number), visitSaid(code), ...caught];
  });
  const history = weekTable(say('map_panel.visits'), ['col_week', 'col_visit', 'col_adults', 'col_nights', 'col_per_week'], rows);
  history.open = true;
  const home = t.zone[k] < 0 ? [] : [part(say('map_panel.its_zone'), pick('zone', t.zone[k], data.zones.id[t.zone[k]]))];
  return [...home, part(say('map_panel.history'), history)];
}

function zoneFacts(k) {
  const z = data.zones;
  const latest = currentWeek === lastWeek;
  const state = data.chars.state[z.state[currentWeek].charAt(k)];
  const mark = data.chars.mark[z.mark[currentWeek].charAt(k)];
  const rate = withInterval('rate_told', 'told', z.interval[k]);
  return factsSaid([
    ['use', z.use[k]], ['area', z.area[k]], ['traps', latest ? written(z.traps[k]) : ''],
    ['to_date', state ? say(`zone_rate.${state}`) : rateLine(z.rate[currentWeek][k], z.nights[currentWeek][k], rate)],
    ...evidenceFacts(k),
    ['mark', mark === 'none' ? '' : say(`mark_names.${mark}`)], ['trapping', latest ? z.gap[k] : ''],
  ]);
}

function trapFacts(k) {
  const t = data.traps;
  const status = data.chars.status[statusOf(currentWeek).charAt(k)];
  const caught = { adults: say('map_panel.adults', adultsOf(currentWeek)[k] || 0), nights: nightsSaid(nightsOf(currentWeek)[k] || 0) };
  const mark = data.chars.mark[markOf(currentWeek).charAt(k)];
  const said = say(`marks.${mark}`);
  const rate = withInterval('rate_interval', 'interval', t.interval[k]);
  const [adults, nights] = [adultsOf, nightsOf].map((valuesOf) => toDate(valuesOf, currentWeek, k));
  return factsSaid([
    ['design', data.designs[t.design[k]]], ['zone', t.zone[k] < 0 ? '' : data.zones.id[t.zone[k]]], ['place', t.placement[k]],
    ['week', status === 'ok' ? say('map_panel.caught', undefined, caught) : visitSaid(status)],
    ['to_date', rateLine(rateOf(adults, nights), nights, rate, adults)],
    ['mark', mark === 'not_testable' && t.why[k] ? say('map_panel.not_testable', undefined, { mark: said, why: t.why[k] }) : said],
    ['for_place', currentWeek === lastWeek ? t.expected[k] : ''],
  ]);
}

function showDetail() {
  if (chosen === null) return;
  const { kind, k } = chosen;
  const title = document.createElement('h3');
  if (kind === 'suggestion') {
    title.textContent = say('map_script.suggestion', data.suggestions[k][0]);
    const text = document.createElement('p');
    text.append(textElement('bdi', data.suggestions[k][2]));
    panel.replaceChildren(title, text);
    return;
  }
  panel.querySelectorAll('details').forEach((one) => openParts[one.open ? 'add' : 'delete'](one.textContent.slice(0, 20)));
  const name = kind === 'zone' ? data.zones.id[k] : data.traps.id[k];
  title.append(...nameParts(kind, name));
  panel.replaceChildren(title, facts(kind === 'zone' ? zoneFacts(k) : trapFacts(k)), ...(kind === 'zone' ? zoneStory(k) : trapStory(k)));
  panel.querySelectorAll('details').forEach((one) => { if (openParts.has(one.textContent.slice(0, 20))) one.open = true; });
  const zone = kind === 'zone' ? k : data.traps.zone[k];
  if (zone >= 0) panel.append(toTable(zone));
}

function toTable(zone) {
  const button = textElement('button', say('map_script.in_table'), 'wide');
  button.type = 'button';
  button.addEventListener('click', () => {
    const target = rowOf(zone).querySelector('.pick');
    scroller.scrollIntoView({ block: 'nearest', behavior: calm ? 'auto' : 'smooth' });
    target.focus({ preventScroll: true });
  });
  return button;
}
