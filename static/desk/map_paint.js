// Plots on one canvas of Leaflet's: filled by class, hatched, edged, with a mark where one fits; and which plot lies under a point.
"use strict";
(() => {
  const HATCHED = 16;
  const CUT = 15;

  window.pinarioMap.Plots = L.Renderer.extend({
    options: { padding: 0.1 },

    initialize(plots, look) {
      L.Renderer.prototype.initialize.call(this);
      this._plots = plots;
      this._look = look;
      this.places = window.pinarioMap.marksOf(plots, look.font);
      this._kinds = new Uint8Array(plots.all);
      this._marks = new Array(plots.all).fill("");
      this._seen = [];
    },

    _initContainer() {
      this._container = document.createElement("canvas");
      this._context = this._container.getContext("2d", { alpha: true });
    },

    _destroyContainer() {
      this._container.remove();
      this._container = null;
      this._context = null;
    },

    _update() {
      if (this._map._animatingZoom && this._bounds) return;
      L.Renderer.prototype._update.call(this);
      const size = this._bounds.getSize();
      const dense = window.devicePixelRatio || 1;
      L.DomUtil.setPosition(this._container, this._bounds.min);
      this._container.width = Math.round(size.x * dense);
      this._container.height = Math.round(size.y * dense);
      this._container.style.width = `${size.x}px`;
      this._container.style.height = `${size.y}px`;
      this._dense = dense;
      this._scale = this._map.options.crs.scale(this._map.getZoom());
      this._from = this._map.getPixelOrigin().add(this._bounds.min);
      this.paint();
    },

    // All that is in view. Plots go one by one: one path of thousands of outlines took ten times as long.
    paint() {
      const { all } = this._plots;
      const ctx = this._context;
      const size = this._bounds.getSize();
      ctx.setTransform(this._dense, 0, 0, this._dense, 0, 0);
      ctx.clearRect(0, 0, size.x, size.y);
      this._dress(ctx);
      this._seen = [];
      for (let i = 0; i < all; i += 1) if (this._inView(i, size)) this._seen.push(i);
      for (const i of this._seen) this._plot(ctx, i, this._kind(i));
      for (const i of this._seen) this._mark(ctx, i, this._markOf(i));
      this.fire("painted");
    },

    // Only what looks different than before: most plots look the same a week later.
    step() {
      const ctx = this._context;
      this._dress(ctx);
      for (const i of this._seen) {
        const kind = this._kind(i);
        const mark = this._markOf(i);
        if (kind === this._kinds[i] && mark === this._marks[i]) continue;
        this._plot(ctx, i, kind);
        this._mark(ctx, i, mark);
      }
      this.fire("painted");
    },

    // Plots whose middle is in view and that are too small there for what is written in them.
    unread() {
      const { middle } = this._plots.shape;
      const size = this._map.getSize();
      const from = this._map.getPixelBounds().min;
      return this._seen.filter((i) => {
        const px = middle[2 * i] * this._scale - from.x;
        const py = middle[2 * i + 1] * this._scale - from.y;
        return !this._marks[i] && px >= 0 && py >= 0 && px < size.x && py < size.y;
      });
    },

    markFor(i) {
      return i < this._plots.n ? this._look.mark(i) : this._look.cutLetter;
    },

    _dress(ctx) {
      ctx.textAlign = "center";
      ctx.textBaseline = "middle";
      ctx.lineJoin = "round";
      this._hatches = [this._hatching(ctx, false), this._hatching(ctx, true)];
    },

    _inView(i, size) {
      const { box, first } = this._plots.shape;
      if (first[i] === first[i + 1]) return false;
      const scale = this._scale;
      const { x, y } = this._from;
      return box[4 * i + 2] * scale > x && box[4 * i + 3] * scale > y && box[4 * i] * scale < x + size.x && box[4 * i + 1] * scale < y + size.y;
    },

    _kind(i) {
      return i < this._plots.n ? this._look.colour(i) | (this._look.hatched(i) ? HATCHED : 0) : CUT;
    },

    // The mark inside a plot, where there is room to read it.
    _markOf(i) {
      const mark = this.markFor(i);
      return this.places.place(i, mark, this._scale) ? mark : "";
    },

    _plot(ctx, i, kind) {
      const look = this._look;
      this._kinds[i] = kind;
      ctx.beginPath();
      this._trace(ctx, i);
      ctx.fillStyle = kind === CUT ? look.ground : look.tones[kind & 15];
      ctx.fill("evenodd");
      if (kind & HATCHED) {
        ctx.fillStyle = this._hatches[(kind & 15) >= look.light ? 1 : 0];
        ctx.fill("evenodd");
      }
      ctx.lineWidth = kind === CUT ? 0.5 : 0.8;
      ctx.strokeStyle = look.edge;
      ctx.stroke();
    },

    // Corners nearer than a pixel to the last one drawn are left out.
    _trace(ctx, i) {
      const { x, y, first, ring } = this._plots.shape;
      const scale = this._scale;
      const left = this._from.x;
      const top = this._from.y;
      for (let r = first[i]; r < first[i + 1]; r += 1) {
        let px = x[ring[r]] * scale - left;
        let py = y[ring[r]] * scale - top;
        ctx.moveTo(px, py);
        for (let k = ring[r] + 1; k < ring[r + 1]; k += 1) {
          const qx = x[k] * scale - left;
          const qy = y[k] * scale - top;
          if (Math.abs(qx - px) + Math.abs(qy - py) < 1) continue;
          ctx.lineTo(qx, qy);
          px = qx;
          py = qy;
        }
        ctx.closePath();
      }
    },

    _mark(ctx, i, mark) {
      this._marks[i] = mark;
      if (!mark) return;
      const look = this._look;
      const kind = this._kinds[i];
      const place = this.places.place(i, mark, this._scale);
      const px = place.x * this._scale - this._from.x;
      const py = place.y * this._scale - this._from.y;
      ctx.font = look.font(place.px);
      if (kind & HATCHED) {
        ctx.lineWidth = 3.5;
        ctx.strokeStyle = look.tones[kind & 15];
        ctx.strokeText(mark, px, py, place.most);
      }
      ctx.fillStyle = kind === CUT ? look.ink : (kind & 15) >= look.light ? "#ffffff" : "#12211d";
      ctx.fillText(mark, px, py, place.most);
    },

    _hatching(ctx, light) {
      const tile = document.createElement("canvas");
      const size = Math.round(6 * this._dense);
      tile.width = size;
      tile.height = size;
      const pen = tile.getContext("2d");
      pen.strokeStyle = light ? "rgba(255,255,255,.75)" : "rgba(18,33,29,.6)";
      pen.lineWidth = 1.1 * this._dense;
      pen.beginPath();
      for (const shift of [-size, 0, size]) {
        pen.moveTo(shift - size / 2, size * 1.5);
        pen.lineTo(shift + size * 1.5, -size / 2);
      }
      pen.stroke();
      const pattern = ctx.createPattern(tile, "repeat");
      pattern.setTransform(new DOMMatrix().scale(1 / this._dense));
      return pattern;
    },

    // The plot under a place, or the nearest one within some pixels; -1 when there is none.
    plotAt(latlng, within = 0) {
      const { all, shape } = this._plots;
      const place = this._map.options.crs.latLngToPoint(latlng, 0);
      const px = place.x / 256;
      const py = place.y / 256;
      const reach = within / this._scale;
      let nearest = -1;
      let least = Infinity;
      for (let i = 0; i < all; i += 1) {
        const dx = Math.max(shape.box[4 * i] - px, px - shape.box[4 * i + 2], 0);
        const dy = Math.max(shape.box[4 * i + 1] - py, py - shape.box[4 * i + 3], 0);
        if (dx > reach || dy > reach) continue;
        if (dx === 0 && dy === 0 && this.places.holds(i, px, py)) return i;
        const far = Math.hypot(shape.middle[2 * i] - px, shape.middle[2 * i + 1] - py);
        if (far < least) [least, nearest] = [far, i];
      }
      return within ? nearest : -1;
    },

    // A plot's rings as [latitude, longitude].
    rings(i) {
      const { x, y, first, ring } = this._plots.shape;
      const out = [];
      for (let r = first[i]; r < first[i + 1]; r += 1) {
        const corners = [];
        for (let k = ring[r]; k < ring[r + 1]; k += 1) corners.push(place(x[k], y[k]));
        out.push(corners);
      }
      return out;
    },
  });

  const place = (x, y) => [(Math.atan(Math.sinh((0.5 - y) * 2 * Math.PI)) * 180) / Math.PI, (x - 0.5) * 360];
})();
