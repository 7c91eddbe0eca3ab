// Paper gets the whole site at a fixed size; the screen gets its own view back afterwards.
const WHOLE_MAP = { padding: [12, 12] };
// The scale lies below the site and the signs of suggested places above it.
const ROOM_FOR_SIGNS = { paddingTopLeft: [12, 30], paddingBottomRight: [12, 44] };
let viewBefore = null;

function onePage() {
  return document.body.classList.contains('one-page');
}

function beforePrint() {
  if (viewBefore) return;
  stop();
  const projected = document.body.classList.contains('projected');
  viewBefore = { centre: map.getCenter(), zoom: map.getZoom(), projected };
  // A zoom that is still under way would end in its own view, on paper, too.
  map.stop();
  if (map._animatingZoom) map._onZoomTransitionEnd();
  document.body.classList.add('printing');
  if (projected) { showLarge(false); drawWeek(currentWeek); }
  map.invalidateSize({ animate: false });
  map.fitBounds(data.bounds, { animate: false, ...(onePage() ? ROOM_FOR_SIGNS : WHOLE_MAP) });
}

function afterPrint() {
  document.body.classList.remove('printing');
  leaveOnePage();
  if (viewBefore && viewBefore.projected) { showLarge(true); drawWeek(currentWeek); }
  map.invalidateSize({ animate: false });
  if (viewBefore) map.setView(viewBefore.centre, viewBefore.zoom, { animate: false });
  viewBefore = null;
}

// One page: sentences, map, key and the zones that ask most, as many as fit. The browser's own print
// command still prints everything.
const WORST_ROWS = 20;
const WORST_COLUMNS = ['id', 'use', 'rate', 'state', 'mark'];

function mostUrgentFirst(a, b, columns) {
  for (const key of ['state', 'rate']) {
    const order = key in columns ? compare(cellKey(a, columns[key], 'number'), cellKey(b, columns[key], 'number'), -1) : 0;
    if (order) return order;
  }
  return 0;
}

function worstRow(tag, row, columns) {
  const made = document.createElement('tr');
  WORST_COLUMNS.filter((key) => key in columns).forEach((key, k) => {
    const cell = document.createElement(k ? tag : 'th');
    const from = row.cells[columns[key]].cloneNode(true);
    from.querySelectorAll('.sort').forEach((each) => each.remove());
    from.querySelectorAll('.pick').forEach((each) => each.replaceWith(...each.childNodes));
    cell.append(...from.childNodes);
    made.append(cell);
  });
  return made;
}

function worstZones() {
  const columns = Object.fromEntries([...table.querySelectorAll('.sort')].map((button, k) => [button.dataset.key, k]));
  const rows = [...table.tBodies[0].rows].sort((a, b) => mostUrgentFirst(a, b, columns)).slice(0, WORST_ROWS);
  const section = textElement('section', '', 'worst');
  const made = document.createElement('table');
  made.createTHead().append(worstRow('th', table.tHead.rows[0], columns));
  made.createTBody().append(...rows.map((row) => worstRow('td', row, columns)));
  section.append(textElement('h2', say('state' in columns ? 'map_script.worst_judged' : 'map_script.worst_rate')), made);
  return section;
}

function leaveOnePage() {
  document.body.classList.remove('one-page');
  document.querySelectorAll('.worst').forEach((each) => each.remove());
}

document.getElementById('print-one').addEventListener('click', () => {
  leaveOnePage();
  document.body.classList.add('one-page');
  document.querySelector('main').append(worstZones());
  window.print();
});
// A browser that has no print dialog for pages never says that it is over; the next step of the reader does.
['pointerdown', 'keydown'].forEach((step) => window.addEventListener(step, leaveOnePage, true));
window.addEventListener('beforeprint', beforePrint);
window.addEventListener('afterprint', afterPrint);

settle();
