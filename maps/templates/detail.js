// What is selected: its outline on the map, its row in the table, its facts in the panel.
const panel = document.getElementById('detail');
const table = document.querySelector('#zones table');
const scroller = document.getElementById('zones');
let chosen = null;

function choose(kind, k, from) {
  chosen = { kind, k };
  markOnMap(from !== 'map');
  markRow(from);
  showDetail();
  if (from === 'table') map.getContainer().scrollIntoView({ block: 'center', behavior: calm ? 'auto' : 'smooth' });
}

function markOnMap(zoom) {
  const { kind, k } = chosen;
  layers.chosen.clearLayers();
  if (kind === 'zone') {
    const look = { fill: false, interactive: false, lineJoin: 'round' };
    L.polygon(data.zones.shape[k], styled('chosen', { ...look, color: '#fff', weight: 11 })).addTo(layers.chosen);
    L.polygon(data.zones.shape[k], styled('chosen', { ...look, color: '#174f5f', weight: 6, className: 'halo' })).addTo(layers.chosen);
    if (zoom) map.fitBounds(zones[k].getBounds().pad(0.6), { animate: !calm, maxZoom: 20 });
    return;
  }
  const at = kind === 'trap' ? data.traps.at[k] : data.suggestions[k][1];
  L.circleMarker(at, styled('chosen', { radius: 20, fill: false, color: '#fff', weight: 8, interactive: false })).addTo(layers.chosen);
  L.circleMarker(at, styled('chosen', { radius: 20, fill: false, color: '#174f5f', weight: 4, interactive: false, className: 'halo' })).addTo(layers.chosen);
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

function rateLine(rate, nights, adults, interval) {
  if (!nights) return 'no countable nights yet';
  const total = adults === undefined ? '' : `${counted(adults, 'adult')}, `;
  const range = interval && currentWeek === lastWeek ? ` (95 % interval ${interval})` : '';
  const per = rate === null ? 'cannot be compared yet' : `${rateText(rate)} per trap-week${range}`;
  return `${per}; ${total}${counted(Math.round(nights), 'trap-night')}`;
}

function evidenceFacts(k) {
  const evidence = evidenceOf(currentWeek);
  return evidence ? [['Limit', evidence.verdicts[k]], ['Next', evidence.nexts[k]]] : [];
}

function zoneFacts(k) {
  const z = data.zones;
  const latest = currentWeek === lastWeek;
  const state = data.words.states[data.chars.state[z.state[currentWeek].charAt(k)]];
  const mark = data.chars.mark[z.mark[currentWeek].charAt(k)];
  return [
    ['Use', z.use[k]], ['Area', z.area[k]], ['Traps', latest ? String(z.traps[k]) : ''],
    ['To date', state || rateLine(z.rate[currentWeek][k], z.nights[currentWeek][k], undefined, z.interval[k])],
    ...evidenceFacts(k),
    ['Mark', mark === 'none' ? '' : data.words.names[mark]], ['Trapping', latest ? z.gap[k] : ''],
  ];
}

function trapFacts(k) {
  const t = data.traps;
  const status = data.chars.status[t.status[currentWeek].charAt(k)];
  const week = !status ? 'not in use' : status !== 'ok' ? data.words.statuses[status]
    : `${counted(t.weekAdults[currentWeek][k] || 0, 'adult')} in ${counted(Math.round(t.weekNights[currentWeek][k] || 0), 'trap-night')}`;
  const mark = data.chars.mark[t.mark[currentWeek].charAt(k)];
  const zone = t.zone[k] < 0 ? '' : data.zones.id[t.zone[k]];
  return [
    ['Design', data.designs[t.design[k]]], ['Zone', zone], ['Place', t.placement[k]],
    [`Week ${data.weeks[currentWeek][0]}`, week],
    ['To date', rateLine(rateOf(t.adults[currentWeek][k], t.nights[currentWeek][k]), t.nights[currentWeek][k], t.adults[currentWeek][k] || 0, t.interval[k])],
    ['Mark', [data.words.marks[mark], mark === 'not_testable' ? t.why[k] : ''].join(' ').trim()],
    ['For its place', currentWeek === lastWeek ? t.expected[k] : ''],
  ];
}

function showDetail() {
  if (chosen === null) return;
  const { kind, k } = chosen;
  const title = document.createElement('h3');
  if (kind === 'suggestion') {
    title.textContent = `Suggested place ${data.suggestions[k][0]}`;
    const text = document.createElement('p');
    text.append(textElement('bdi', data.suggestions[k][2]));
    panel.replaceChildren(title, text);
    return;
  }
  const name = kind === 'zone' ? data.zones.id[k] : data.traps.id[k];
  title.append(kind === 'zone' ? 'Zone ' : 'Trap ', textElement('bdi', name));
  panel.replaceChildren(title, facts(kind === 'zone' ? zoneFacts(k) : trapFacts(k)));
  const zone = kind === 'zone' ? k : data.traps.zone[k];
  if (zone >= 0) panel.append(toTable(zone));
}

function toTable(zone) {
  const button = textElement('button', 'Show in the table', 'wide');
  button.type = 'button';
  button.addEventListener('click', () => {
    const target = rowOf(zone).querySelector('.pick');
    scroller.scrollIntoView({ block: 'nearest', behavior: calm ? 'auto' : 'smooth' });
    target.focus({ preventScroll: true });
  });
  return button;
}
