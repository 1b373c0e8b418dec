// The waveform: above, the whole recording as a thin strip; below, the seconds around the place that is looked at. What is
// doubtful has a notch above it, so that it shows without colour.

import { clock } from '/assets/words.js';

const STRIP = 14;
const NEAR_S = 12;

export class Wave {
  constructor(canvas, slider, seek) {
    Object.assign(this, { canvas, slider, seek, peaks: null, perS: 50, duration: 0, now: 0, marks: [], span: null, drawn: false });
    new ResizeObserver(() => this.draw()).observe(slider);
    matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => this.draw());
    slider.addEventListener('pointerdown', (e) => {
      const box = canvas.getBoundingClientRect();
      const share = (e.clientX - box.left) / box.width;
      const [from, to] = e.clientY - box.top <= STRIP ? [0, this.duration] : this.near();
      this.seek(Math.max(0, Math.min(this.duration, from + share * (to - from))));
    });
    slider.addEventListener('keydown', (e) => {
      const by = { ArrowLeft: -2, ArrowRight: 2, PageUp: 10, PageDown: -10, Home: -1e9, End: 1e9 }[e.key];
      if (!by) return;
      e.preventDefault();
      this.seek(Math.max(0, Math.min(this.duration, this.now + by)));
    });
  }

  set(what) {
    Object.assign(this, what);
    this.slider.setAttribute('aria-valuemax', this.duration.toFixed(1));
    this.slider.setAttribute('aria-valuenow', Math.min(this.now, this.duration).toFixed(1));
    this.slider.setAttribute('aria-valuetext', clock(this.now, true));
    if (!this.drawn) {
      this.drawn = true;
      requestAnimationFrame(() => { this.drawn = false; this.draw(); });
    }
  }

  /** The seconds that the lower part shows. */
  near() {
    const playing = this.span && this.now >= this.span[0] - 2 && this.now <= this.span[1] + 2;
    const at = this.span && (playing || this.now === 0) ? (this.span[0] + this.span[1]) / 2 : this.now || this.span?.[0] || 0;
    const wide = Math.min(this.duration || NEAR_S, Math.max(NEAR_S, this.span ? this.span[1] - this.span[0] + 4 : 0));
    const from = Math.max(0, Math.min(at - wide / 2, this.duration - wide));
    return [from, from + wide];
  }

  draw() {
    const { canvas, slider } = this;
    const ratio = devicePixelRatio || 1;
    const [w, hgt] = [slider.clientWidth, slider.clientHeight];
    if (!w || !hgt) return;
    if (canvas.width !== Math.round(w * ratio) || canvas.height !== Math.round(hgt * ratio)) {
      canvas.width = Math.round(w * ratio);
      canvas.height = Math.round(hgt * ratio);
    }
    const c = canvas.getContext('2d');
    c.setTransform(ratio, 0, 0, ratio, 0, 0);
    const css = getComputedStyle(slider);
    const colour = (name) => css.getPropertyValue(name).trim();
    c.fillStyle = colour('--sheet');
    c.fillRect(0, 0, w, hgt);
    this.part(c, colour, 0, STRIP, w, [0, this.duration || 1], true);
    this.part(c, colour, STRIP + 4, hgt - STRIP - 4, w, this.near(), false);
  }

  part(c, colour, top, height, w, [from, to], strip) {
    const x = (s) => ((s - from) / (to - from)) * w;
    c.fillStyle = colour('--ground');
    c.fillRect(0, top, w, height);
    if (this.span) {
      c.fillStyle = colour('--glow');
      c.fillRect(x(this.span[0]), top, Math.max(2, x(this.span[1]) - x(this.span[0])), height);
    }
    c.fillStyle = colour('--wave');
    if (this.peaks) {
      for (let px = 0; px < w; px += strip ? 1 : 2) {
        const a = Math.floor((from + (px / w) * (to - from)) * this.perS);
        const b = Math.max(a + 1, Math.floor((from + ((px + 2) / w) * (to - from)) * this.perS));
        let loud = 0;
        for (let i = a; i < b; i += 1) loud = Math.max(loud, this.peaks[i] ?? 0);
        const tall = Math.max(1, (loud / 255) * (height - 4));
        c.fillRect(px, top + (height - tall) / 2, strip ? 1 : 1.5, tall);
      }
    }
    for (const [a, b, open] of this.marks) {
      if (b < from || a > to) continue;
      c.fillStyle = colour(open ? '--doubt-ink' : '--mark');
      if (!strip) c.fillRect(x(a), top + height - 3, Math.max(2, x(b) - x(a) - 1), 3);
      if (open) {
        c.beginPath();
        c.moveTo(x(a) - 4, top);
        c.lineTo(x(a) + 4, top);
        c.lineTo(x(a), top + 7);
        c.fill();
      }
    }
    c.fillStyle = colour('--ink');
    c.fillRect(x(this.now) - 1, top, 2, height);
    if (!strip) {
      c.font = '12px sans-serif';
      c.fillText(clock(from), 4, top + 12);
      const end = clock(to);
      c.fillText(end, w - 4 - c.measureText(end).width, top + 12);
    }
  }
}
