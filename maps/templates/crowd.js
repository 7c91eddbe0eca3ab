// Thousands of glyphs as one layer of a painted pane: as a shape each they would make every step crawl.
const FINER = L.Browser.retina ? 2 : 1;
const stamps = new WeakMap();

// A look is an object that every glyph of that look shares; each is painted once for each shape.
function stampOf(shape, look) {
  if (!stamps.has(look)) stamps.set(look, {});
  const ready = stamps.get(look);
  ready[shape] ??= paintedStamp(shape, look);
  return ready[shape];
}

// A bitmap, because a canvas would be copied each time it is stamped.
function paintedStamp(shape, { radius, inner, fill, fillColor, fillOpacity, color, weight, dashArray, lineCap, halo }) {
  // A line around corners reaches farther out than half its width.
  const half = Math.ceil(reachOf(shape, radius) + (weight + (halo || 0)) * (shape in CORNERS ? 1 : 0.5));
  const sheet = new OffscreenCanvas(2 * half * FINER, 2 * half * FINER);
  const ctx = sheet.getContext('2d');
  ctx.scale(FINER, FINER);
  ctx.translate(half, half);
  const path = new Path2D(outline(shape, 0, 0, radius) + innerLines(inner, 0, 0, radius));
  if (fill !== false) { ctx.globalAlpha = fillOpacity; ctx.fillStyle = fillColor; ctx.fill(path); }
  ctx.globalAlpha = 1;
  ctx.lineCap = lineCap || 'round';
  for (const [ink, wide] of halo ? [['colour(PAPER)', weight + halo], [color, weight]] : [[color, weight]]) {
    ctx.setLineDash(ink === color && dashArray ? dashArray.split(' ').map(Number) : []);
    ctx.strokeStyle = ink;
    ctx.lineWidth = wide;
    ctx.stroke(path);
  }
  return { sheet: sheet.transferToImageBitmap(), half, radius };
}

// Nothing is painted before each place has been given its stamp.
const Crowd = L.Path.extend({
  initialize(places, options) {
    L.setOptions(this, options);
    this._places = places;
    this._shown = [];
  },

  show(stampsShown) {
    this._shown = stampsShown;
    if (this._map) this._renderer._requestRedraw(this);
    return this;
  },

  // The glyph that was pointed at last, by its place in the list.
  under: -1,

  _project() {
    this._points = this._places.map((at) => this._map.latLngToLayerPoint(at).round());
  },

  // It keeps no bounds, so that the pane is painted whole each time.
  _update() {},

  _updatePath() {
    const { _ctx: ctx, _drawing: drawing, _bounds: { min, max } } = this._renderer;
    if (!drawing) return;
    this._shown.forEach(({ sheet, half }, k) => {
      const { x, y } = this._points[k];
      if (x + half < min.x || x - half > max.x || y + half < min.y || y - half > max.y) return;
      ctx.drawImage(sheet, x - half, y - half, 2 * half, 2 * half);
    });
  },

  _containsPoint({ x, y }) {
    const reach = this._clickTolerance();
    this.under = this._points.findLastIndex((at, k) => (at.x - x) ** 2 + (at.y - y) ** 2 <= (this._shown[k].radius + reach) ** 2);
    return this.under >= 0;
  },
});
