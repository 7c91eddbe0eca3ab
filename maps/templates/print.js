// Paper gets the whole site at a fixed size; the screen gets its own view back afterwards.
let viewBefore = null;

function beforePrint() {
  if (viewBefore) return;
  stop();
  viewBefore = { centre: map.getCenter(), zoom: map.getZoom() };
  document.body.classList.add('printing');
  map.invalidateSize({ animate: false });
  fitAll();
}

function afterPrint() {
  document.body.classList.remove('printing');
  map.invalidateSize({ animate: false });
  if (viewBefore) map.setView(viewBefore.centre, viewBefore.zoom, { animate: false });
  viewBefore = null;
}

window.addEventListener('beforeprint', beforePrint);
window.addEventListener('afterprint', afterPrint);

fitAll();
settle();
