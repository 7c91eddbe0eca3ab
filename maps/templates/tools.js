// For the room, the walk and the tape: large type, own position, distances.
const toolSays = document.getElementById('tool-says');
const projectButton = document.getElementById('project');
const locateButton = document.getElementById('locate');
const measureButton = document.getElementById('measure');
// Above the zones, the letters and the signs: nothing may hide where one stands.
map.createPane('helpers').style.zIndex = 490;
map.getPane('helpers').style.pointerEvents = 'none';
const helpers = L.layerGroup().addTo(map);
const FEET_PER_METRE = 1 / 0.3048;
let tape = null;

function pressed(button, on) {
  button.setAttribute('aria-pressed', String(on));
}

function roomFactor() {
  return Math.max(1, window.innerWidth / 1600);
}

function showLarge(on) {
  document.body.classList.toggle('projected', on);
  enlarge(on ? roomFactor() : 1);
  ruler.options.maxWidth = 140 * dotFactor;
  spreadSigns();
}

// The sentence and the key of the zones stand beside the map, where a room sees them with it.
function roomParts() {
  const box = textElement('div', '', 'room');
  box.setAttribute('aria-hidden', 'true');
  document.querySelectorAll('.say .lead, .key-evidence, .key-classes').forEach((part) => box.append(part.cloneNode(true)));
  return box;
}

function project(on) {
  showLarge(on);
  document.querySelectorAll('.room').forEach((box) => box.remove());
  if (on) document.querySelector('.side').prepend(roomParts());
  pressed(projectButton, on);
  setWeek(currentWeek);
  map.invalidateSize({ animate: false });
  fitAll();
  if (on) document.querySelector('.desk').scrollIntoView();
}

projectButton.addEventListener('click', () => {
  const on = !document.body.classList.contains('projected');
  const whole = document.documentElement;
  if (on && whole.requestFullscreen) {
    whole.requestFullscreen().catch(() => { toolSays.textContent = say('map_script.no_full_screen'); });
  } else if (!on && document.fullscreenElement) document.exitFullscreen();
  project(on);
});
document.addEventListener('fullscreenchange', () => {
  if (document.fullscreenElement) { map.invalidateSize({ animate: false }); fitAll(); }
  else if (document.body.classList.contains('projected')) project(false);
});

// The position is asked for only when the button is pressed, and kept nowhere.
const LOCATE_FAILS = { 1: 'refused', 2: 'not_found', 3: 'too_long' };

function inFeet(metres) {
  return Math.round(metres * FEET_PER_METRE);
}

locateButton.addEventListener('click', () => {
  if (!navigator.geolocation) { toolSays.textContent = say('map_script.no_position'); return; }
  toolSays.textContent = say('map_script.looking');
  navigator.geolocation.getCurrentPosition(({ coords }) => {
    const at = [coords.latitude, coords.longitude];
    const metres = Math.max(1, Math.round(coords.accuracy));
    helpers.clearLayers();
    L.circle(at, { radius: coords.accuracy, color: INK, weight: 2, fill: false, pane: 'helpers', interactive: false, className: 'me' }).addTo(helpers);
    L.circleMarker(at, { radius: 6, color: 'colour(PAPER)', weight: 2, fillColor: 'colour(ACT)', fillOpacity: 1, pane: 'helpers', interactive: false }).addTo(helpers);
    const inside = L.latLngBounds(data.bounds).pad(0.2).contains(at);
    toolSays.textContent = say(inside ? 'map_script.within' : 'map_script.elsewhere', undefined, { metres, feet: inFeet(metres) });
    if (inside) map.setView(at, Math.max(map.getZoom(), map.getBoundsZoom(data.bounds) + 2), { animate: !calm });
  }, ({ code }) => { toolSays.textContent = say(`map_script.${LOCATE_FAILS[code]}`); }, { enableHighAccuracy: true, timeout: 20000 });
});

function measureFrom(at) {
  tape.points.push(at);
  tape.line.setLatLngs(tape.points);
  L.circleMarker(at, { radius: 4, color: 'colour(PAPER)', weight: 1.5, fillColor: INK, fillOpacity: 1, pane: 'helpers', interactive: false }).addTo(helpers);
  const metres = tape.points.slice(1).reduce((sum, point, k) => sum + point.distanceTo(tape.points[k]), 0);
  toolSays.textContent = tape.points.length < 2 ? say('map_script.next_point')
    : say('map_script.distance', undefined, { metres: written(metres, metres < 10 ? 1 : 0), feet: inFeet(metres) });
}

function endMeasure() {
  if (!tape) return;
  map.getContainer().removeEventListener('click', tape.catcher, true);
  map.getContainer().classList.remove('measuring');
  pressed(measureButton, false);
  helpers.clearLayers();
  toolSays.textContent = '';
  tape = null;
}

// Caught before the map's own shapes, so that a point may lie on a zone or a trap.
function beginMeasure() {
  helpers.clearLayers();
  const catcher = (event) => {
    if (event.target.closest('.leaflet-control')) return;
    event.stopPropagation();
    measureFrom(map.mouseEventToLatLng(event));
  };
  tape = { points: [], catcher, line: L.polyline([], { color: INK, weight: 3, dashArray: '8 5', pane: 'helpers', interactive: false, className: 'tape' }).addTo(helpers) };
  map.getContainer().addEventListener('click', catcher, true);
  map.getContainer().classList.add('measuring');
  pressed(measureButton, true);
  toolSays.textContent = say('map_script.points');
}

measureButton.addEventListener('click', () => (tape ? endMeasure() : beginMeasure()));
document.addEventListener('keydown', (event) => {
  if (event.key === 'Escape') { if (tape) endMeasure(); else if (document.body.classList.contains('projected')) project(false); }
  if (event.key === 'Enter' && tape && document.activeElement === map.getContainer()) {
    measureFrom(map.getCenter());
  }
});
