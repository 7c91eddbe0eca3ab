// Finding a zone or a trap by a part of its name.
const searchBox = document.getElementById('search');
const foundList = document.getElementById('found');
const foundCount = document.getElementById('search-count');
const MOST_FOUND = 8;
const entries = [
  ...data.zones.id.map((id, k) => ({ kind: 'zone', k, text: nameOf(id, data.zones.name[k]) })),
  ...data.traps.location.map((id, k) => ({ kind: 'trap', k, text: id })),
];

// What a zone or trap is called; its own name is set apart, whatever its way of writing.
function nameParts(kind, id) {
  const [before, after] = say(`map_script.${kind}`, undefined, { id: '\u0000' }).split('\u0000');
  return [before, textElement('bdi', id), after];
}

function search() {
  const wanted = searchBox.value.trim().toLowerCase();
  const hits = wanted ? entries.filter((entry) => entry.text.toLowerCase().includes(wanted)) : [];
  hits.sort((a, b) => b.text.toLowerCase().startsWith(wanted) - a.text.toLowerCase().startsWith(wanted));
  foundCount.textContent = wanted ? say(hits.length ? 'map_script.matches' : 'map_script.no_match', hits.length) : '';
  foundList.replaceChildren(...hits.slice(0, MOST_FOUND).map((hit) => {
    const item = document.createElement('li');
    const button = document.createElement('button');
    button.type = 'button';
    button.append(...nameParts(hit.kind, hit.text));
    button.addEventListener('click', () => take(hit));
    item.append(button);
    return item;
  }));
  return hits;
}

function take(hit) {
  choose(hit.kind, hit.k, 'search');
  searchBox.value = '';
  search();
  searchBox.focus({ preventScroll: true });
}

searchBox.addEventListener('input', search);
searchBox.addEventListener('keydown', (event) => {
  if (event.key === 'Enter') {
    const [first] = search();
    if (first) take(first);
  } else if (event.key === 'Escape') {
    searchBox.value = '';
    search();
  } else if (event.key === 'ArrowDown') {
    const first = foundList.querySelector('button');
    if (first) { event.preventDefault(); first.focus(); }
  }
});
foundList.addEventListener('keydown', (event) => {
  const item = event.target.closest('li');
  const next = event.key === 'ArrowDown' ? item.nextElementSibling : event.key === 'ArrowUp' ? item.previousElementSibling : null;
  if (next) { event.preventDefault(); next.querySelector('button').focus(); }
  if (event.key === 'Escape') searchBox.focus();
});
