// The link remembers week, choice and layers after its #; what it names and nobody knows is told in a sentence.
const told = document.getElementById('told');
const boxes = [...document.querySelectorAll('[data-layer]')];
const layersAtFirst = shownLayers();
let settling = false;

function shownLayers() {
  return boxes.filter((box) => box.checked).map((box) => box.dataset.layer).join(',');
}

function stateText() {
  const state = new URLSearchParams();
  if (currentWeek !== lastWeek) state.set('week', String(data.weeks[currentWeek][0]));
  if (chosen && chosen.kind === 'zone') state.set('zone', data.zones.id[chosen.k]);
  if (chosen && chosen.kind === 'trap') state.set('trap', data.traps.location[chosen.k]);
  if (shownLayers() !== layersAtFirst) state.set('layers', shownLayers());
  const text = state.toString();
  return text ? `#${text}` : '';
}

// A choice is a step to go back to; a week only changes the step it was made in.
function remember(step) {
  const text = stateText();
  if (settling || text === window.location.hash) return;
  const url = text || window.location.href.split('#')[0];
  try {
    if (step) window.history.pushState(null, '', url); else window.history.replaceState(null, '', url);
  } catch (refused) {
    told.textContent = say('map_script.no_state');
  }
}

function lackedText(unknown) {
  const each = unknown.map(([kind, id]) => say(`map_script.lacks_${kind}`, undefined, { id }));
  const things = each.reduce((before, thing) => say('map_script.lack_and', undefined, { things: before, thing }));
  return say('map_script.lacks', undefined, { things });
}

function settle() {
  const state = new URLSearchParams(window.location.hash.slice(1));
  const unknown = [];
  settling = true;
  stop();
  const week = state.has('week') ? data.weeks.findIndex(([number]) => String(number) === state.get('week')) : lastWeek;
  if (week < 0) unknown.push(['week', state.get('week')]);
  setWeek(week < 0 ? lastWeek : week);
  const known = boxes.map((box) => box.dataset.layer);
  const asked = (state.get('layers') ?? layersAtFirst).split(',').filter(Boolean);
  unknown.push(...asked.filter((name) => !known.includes(name)).map((name) => ['layer', name]));
  // A link whose layers this page does not have would leave the map empty.
  const wanted = asked.length && !asked.some((name) => known.includes(name)) ? layersAtFirst.split(',') : asked;
  boxes.forEach((box) => {
    const on = wanted.includes(box.dataset.layer);
    if (box.checked !== on) { box.checked = on; box.dispatchEvent(new Event('change')); }
  });
  const [kind, ids] = state.has('trap') ? ['trap', data.traps.location] : ['zone', data.zones.id];
  const name = state.get(kind);
  const k = name === null ? -1 : ids.indexOf(name);
  if (name !== null && k < 0) unknown.push([kind, name]);
  if (k >= 0 && !(chosen && chosen.kind === kind && chosen.k === k)) choose(kind, k, 'link');
  if (k < 0) unchoose();
  told.textContent = unknown.length ? lackedText(unknown) : '';
  settling = false;
}

boxes.forEach((box) => box.addEventListener('change', () => remember(true)));
window.addEventListener('popstate', settle);
window.addEventListener('hashchange', settle);
