// Sorting the zone table, and picking a zone from it. Cells without a value always come last.
function cellKey(row, column, kind) {
  const cell = row.cells[column];
  if (kind === 'text') return cell.textContent.trim();
  return cell.dataset.v === '' ? null : Number(cell.dataset.v);
}

function compare(a, b, direction) {
  const emptyA = a === null || a === '';
  const emptyB = b === null || b === '';
  if (emptyA || emptyB) return emptyA - emptyB;
  return direction * (typeof a === 'number' ? a - b : a.localeCompare(b, data.said.locale, { numeric: true }));
}

table.querySelectorAll('.sort').forEach((button, column) => {
  button.addEventListener('click', () => {
    const head = button.parentElement;
    const first = button.dataset.kind === 'text' ? 'ascending' : 'descending';
    const second = first === 'ascending' ? 'descending' : 'ascending';
    const order = head.getAttribute('aria-sort') === first ? second : first;
    table.querySelectorAll('thead th').forEach((th) => th.setAttribute('aria-sort', 'none'));
    head.setAttribute('aria-sort', order);
    const direction = order === 'ascending' ? 1 : -1;
    const rows = [...table.tBodies[0].rows];
    rows.sort((a, b) => compare(cellKey(a, column, button.dataset.kind), cellKey(b, column, button.dataset.kind), direction));
    table.tBodies[0].append(...rows);
  });
});

table.tBodies[0].addEventListener('click', (event) => {
  const row = event.target.closest('tr');
  if (row) choose('zone', Number(row.dataset.zone), 'table');
});

document.querySelectorAll('#states .pick').forEach((button) => {
  button.addEventListener('click', () => choose('zone', Number(button.dataset.zone), 'table'));
});
