// Draws one line and turns it. Parallel projection, the far parts first; nothing is asked of any other machine.
"use strict";

(function () {
  const scene = JSON.parse(document.getElementById("scene").textContent);
  const canvas = document.getElementById("view"), told = document.getElementById("told"), pen = canvas.getContext("2d");
  const VIEWS = { front: [-90, 0], above: [-90, 90], side: [0, 0], quarter: [-60, 25] };
  const STEP = 10, MARGIN = 34;
  const LIGHT = { paper: "#ffffff", ink: "#1a1a1a", soft: "#595959", edge: "#1a1a1a", straight: "#dfe3e8", bend: "#9fb4cf", shine: "#ffffff", obstacle: [196, 188, 176], fitting: [206, 206, 206], clip: [120, 120, 120] };
  const DARK = { paper: "#16181c", ink: "#f0f0f0", soft: "#b5b5b5", edge: "#000000", straight: "#e4e7eb", bend: "#8fa9cc", shine: "#ffffff", obstacle: [126, 118, 106], fitting: [170, 170, 170], clip: [92, 92, 92] };
  const view = { azim: VIEWS.quarter[0], elev: VIEWS.quarter[1], zoom: 1, right: 0, up: 0 };
  // How far each point of the tube is from the upright through the middle, and above or below the middle.
  const REACHES = scene.points.map((p) => [Math.hypot(p[0] - scene.centre[0], p[1] - scene.centre[1]) + 2 * scene.od, Math.abs(p[2] - scene.centre[2]) + 2 * scene.od]);
  let shade = LIGHT, wanted = false, speaking = 0;

  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const minus = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
  const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];

  // Right, up and towards the viewer, and how many dots a millimetre takes.
  function frame() {
    const az = view.azim * Math.PI / 180, el = view.elev * Math.PI / 180;
    const out = [Math.cos(el) * Math.cos(az), Math.cos(el) * Math.sin(az), Math.sin(el)];
    const right = [-Math.sin(az), Math.cos(az), 0], up = cross(out, right);
    const wide = canvas.clientWidth, tall = canvas.clientHeight;
    // Turned about the upright it fits at every turn, so that its size changes only when it is tilted.
    const high = Math.max(...REACHES.map(([round, z]) => z * Math.cos(el) + round * Math.abs(Math.sin(el))));
    const scale = view.zoom * Math.min((wide / 2 - MARGIN) / Math.max(...REACHES.map((each) => each[0])), (tall / 2 - MARGIN) / high);
    const at = (p) => {
      const d = minus(p, scene.centre);
      return [wide / 2 + view.right + scale * dot(d, right), tall / 2 + view.up - scale * dot(d, up), dot(d, out)];
    };
    return { right, up, out, scale, at, wide, tall };
  }

  function draw() {
    wanted = false;
    const see = frame(), dots = window.devicePixelRatio || 1;
    if (!see.wide) { return; }
    canvas.width = Math.round(see.wide * dots);
    canvas.height = Math.round(see.tall * dots);
    pen.setTransform(dots, 0, 0, dots, 0, 0);
    pen.fillStyle = shade.paper;
    pen.fillRect(0, 0, see.wide, see.tall);
    pen.lineJoin = "round";
    const items = [];
    tube(see, items);
    for (const body of scene.bodies) { faces(see, body, items); }
    items.sort((a, b) => a[0] - b[0]);
    for (const item of items) { item[1](); }
    for (const each of scene.keep) { keepAway(see, each); }
    for (const each of scene.ellipsoids) { ellipsoid(see, each); }
    tags(see);
    axes(see);
    bar(see);
    const ends = [scene.points[0], scene.points[scene.points.length - 1]].map((p) => see.at(p).slice(0, 2).map((v) => v.toFixed(1)).join(","));
    canvas.dataset.ends = ends.join(" ");
    canvas.dataset.view = [view.azim, view.elev, view.zoom].map((v) => v.toFixed(2)).join(" ");
  }

  function stroke(from, to, width, color, cap) {
    pen.beginPath();
    pen.moveTo(from[0], from[1]);
    pen.lineTo(to[0], to[1]);
    pen.lineWidth = width;
    pen.strokeStyle = color;
    pen.lineCap = cap;
    pen.stroke();
  }

  // Each step of the tube has a dark edge one diameter behind it and its neighbours: seen where the tube
  // passes in front of something, hidden where it only goes on.
  function tube(see, items) {
    const flat = scene.points.map(see.at), last = flat.length - 2;
    const depth = flat.slice(1).map((p, k) => (p[2] + flat[k][2]) / 2);
    const width = Math.max(scene.od * see.scale, 3);
    for (let k = 0; k <= last; k++) {
      const a = flat[k], b = flat[k + 1], fill = scene.bend[k] ? shade.bend : shade.straight;
      const behind = Math.min(depth[Math.max(k - 1, 0)], depth[k], depth[Math.min(k + 1, last)]) - scene.od;
      const free = k === 0 || k === last;
      items.push([behind, () => stroke(a, b, width + 2.4, shade.edge, "round")]);
      items.push([depth[k], () => stroke(a, b, width, fill, free ? "butt" : "round")]);
      if (width > 7) {  // after its neighbours, whose round ends would cover it
        const lift = width * 0.2, after = Math.max(depth[Math.max(k - 1, 0)], depth[k], depth[Math.min(k + 1, last)]) + 1e-3;
        items.push([after, () => stroke([a[0] - lift * 0.5, a[1] - lift], [b[0] - lift * 0.5, b[1] - lift], width * 0.16, shade.shine, "round")]);
      }
    }
  }

  function faces(see, body, items) {
    const base = shade[body.kind];
    for (const corners of body.faces) {
      const flat = corners.map(see.at);
      let area = 0;
      for (let i = 0; i < 4; i++) {
        const p = flat[i], q = flat[(i + 1) % 4];
        area += p[0] * q[1] - q[0] * p[1];
      }
      if (area >= -0.02) { continue; }  // its back, or seen edge on
      let normal = cross(minus(corners[2], corners[0]), minus(corners[3], corners[1]));
      const size = Math.hypot(...normal) || 1;
      normal = normal.map((v) => v / size);
      const light = 0.62 + 0.3 * Math.max(0, dot(normal, see.up) * 0.7 + dot(normal, see.out) * 0.6 - dot(normal, see.right) * 0.35);
      const color = `rgb(${base.map((v) => Math.round(Math.min(255, v * light * 1.12))).join(",")})`;
      const depth = flat.reduce((sum, p) => sum + p[2], 0) / 4;
      items.push([depth, () => {
        pen.beginPath();
        flat.forEach((p, i) => (i ? pen.lineTo(p[0], p[1]) : pen.moveTo(p[0], p[1])));
        pen.closePath();
        pen.fillStyle = color;
        pen.fill();
        pen.lineWidth = 0.7;
        pen.strokeStyle = body.kind === "obstacle" ? color : shade.edge;
        pen.stroke();
      }]);
    }
  }

  // A body with a distance all round it is seen as the hull of circles about its points.
  function keepAway(see, each) {
    const rim = [];
    for (const p of each.points.map(see.at)) {
      const count = each.radius ? 40 : 1;
      for (let i = 0; i < count; i++) {
        const t = 2 * Math.PI * i / count;
        rim.push([p[0] + each.radius * see.scale * Math.cos(t), p[1] + each.radius * see.scale * Math.sin(t)]);
      }
    }
    path(hull(rim));
    dashed([2, 5], 1.8, shade.ink);
  }

  function hull(points) {
    const sorted = points.slice().sort((a, b) => a[0] - b[0] || a[1] - b[1]);
    const half = (given) => {
      const kept = [];
      for (const p of given) {
        while (kept.length > 1) {
          const a = kept[kept.length - 2], b = kept[kept.length - 1];
          if ((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0]) > 0) { break; }
          kept.pop();
        }
        kept.push(p);
      }
      kept.pop();
      return kept;
    };
    return half(sorted).concat(half(sorted.reverse()));
  }

  // Seen from any side an ellipsoid is an ellipse: its matrix is what the three semi-axes, as seen, add up to.
  function ellipsoid(see, each) {
    const seen = each.axes.map((a) => [see.scale * dot(a, see.right), -see.scale * dot(a, see.up)]);
    const xx = seen.reduce((s, a) => s + a[0] * a[0], 0), yy = seen.reduce((s, a) => s + a[1] * a[1], 0), xy = seen.reduce((s, a) => s + a[0] * a[1], 0);
    const turn = Math.atan2(2 * xy, xx - yy) / 2, half = Math.hypot((xx - yy) / 2, xy), centre = see.at(each.at);
    const long = Math.sqrt((xx + yy) / 2 + half), short = Math.sqrt(Math.max((xx + yy) / 2 - half, 0));
    pen.beginPath();
    pen.ellipse(centre[0], centre[1], Math.max(long, 2), Math.max(short, 2), turn, 0, 2 * Math.PI);
    pen.fillStyle = shade === DARK ? "rgba(255,200,90,0.22)" : "rgba(217,131,0,0.20)";
    pen.fill();
    dashed([7, 4], 1.8, shade.ink);
  }

  function path(points) {
    pen.beginPath();
    points.forEach((p, i) => (i ? pen.lineTo(p[0], p[1]) : pen.moveTo(p[0], p[1])));
    pen.closePath();
  }

  function dashed(dash, width, color) {
    pen.setLineDash(dash);
    pen.lineWidth = width;
    pen.strokeStyle = color;
    pen.lineCap = "round";
    pen.stroke();
    pen.setLineDash([]);
  }

  // Labels stand off the tube and are pushed apart where they would touch.
  function tags(see) {
    const half = Math.max(scene.od * see.scale, 3) / 2;
    // Of what is out of the picture only the names of obstacles are shown, at its edge.
    const there = (tag) => {
      const [x, y] = see.at(tag.at);
      return tag.kind === "name" || (x > -5 && x < see.wide + 5 && y > -5 && y < see.tall + 5);
    };
    const placed = scene.tags.filter(there).map((tag) => {
      const foot = see.at(tag.at), size = tag.kind === "name" ? 13 : 14;
      pen.font = `${tag.kind === "name" ? "" : "bold "}${size}px system-ui, "DejaVu Sans", sans-serif`;
      const wide = tag.kind === "name" ? pen.measureText(tag.text).width / 2 + 4 : 11;
      const way = [dot(tag.out, see.right), -dot(tag.out, see.up)], length = Math.hypot(...way);
      const off = tag.kind === "name" ? (length ? half + 20 : 0) : half + 17;
      const to = length > 0.15 ? way.map((v) => v / length) : [0, tag.kind === "name" ? 1 : -1];
      return { tag, foot, font: pen.font, wide, tall: 11, x: foot[0] + to[0] * off, y: foot[1] + to[1] * off };
    });
    for (let round = 0; round < 12; round++) {
      for (let i = 0; i < placed.length; i++) {
        for (let j = i + 1; j < placed.length; j++) { apart(placed[i], placed[j]); }
      }
    }
    for (const each of placed) {
      each.x = Math.min(Math.max(each.x, each.wide + 2), see.wide - each.wide - 2);
      each.y = Math.min(Math.max(each.y, 14), see.tall - 14);
      label(each, half);
    }
  }

  function apart(one, two) {
    const dx = two.x - one.x, dy = two.y - one.y;
    const overX = one.wide + two.wide + 2 - Math.abs(dx), overY = one.tall + two.tall + 2 - Math.abs(dy);
    if (overX <= 0 || overY <= 0) { return; }
    const axis = overX < overY ? "x" : "y", push = Math.min(overX, overY) / 2, sign = (axis === "x" ? dx : dy) < 0 ? -1 : 1;
    one[axis] -= sign * push;
    two[axis] += sign * push;
  }

  function label(each, half) {
    const name = each.tag.kind === "name", dark = each.tag.kind === "end", x = each.x, y = each.y;
    if (Math.hypot(x - each.foot[0], y - each.foot[1]) > half + 24) { stroke(each.foot, [x, y], 1, shade.soft, "butt"); }
    pen.beginPath();
    if (name) { pen.rect(x - each.wide, y - 9, 2 * each.wide, 18); } else { pen.arc(x, y, 11, 0, 2 * Math.PI); }
    pen.fillStyle = dark ? shade.ink : shade.paper;
    pen.globalAlpha = name ? 0.8 : 1;
    pen.fill();
    pen.globalAlpha = 1;
    if (!name) {
      pen.lineWidth = 1.5;
      pen.strokeStyle = shade.ink;
      pen.stroke();
    }
    pen.font = each.font;
    pen.fillStyle = dark ? shade.paper : shade.ink;
    pen.textAlign = "center";
    pen.textBaseline = "middle";
    pen.fillText(each.tag.text, x, y + 0.5);
  }

  function words(text, x, y, align) {
    pen.font = '13px system-ui, "DejaVu Sans", sans-serif';
    pen.fillStyle = shade.soft;
    pen.textAlign = align;
    pen.textBaseline = "middle";
    pen.fillText(text, x, y);
  }

  function axes(see) {
    const foot = [40, see.tall - 40];
    ["x", "y", "z"].forEach((name, k) => {
      const way = [see.right[k], -see.up[k]], tip = [foot[0] + 24 * way[0], foot[1] + 24 * way[1]];
      stroke(foot, tip, 1.6, shade.soft, "round");
      if (Math.hypot(...way) > 0.2) { words(name, foot[0] + 33 * way[0], foot[1] + 33 * way[1], "center"); }
    });
  }

  function bar(see) {
    const most = 150 / see.scale, power = Math.pow(10, Math.floor(Math.log10(most)));
    const length = power * Math.max(...[1, 2, 5].filter((step) => step * power <= most));
    const right = see.wide - 16, left = right - length * see.scale, y = see.tall - 16;
    stroke([left, y], [right, y], 1.6, shade.soft, "butt");
    for (const x of [left, right]) { stroke([x, y - 5], [x, y + 5], 1.6, shade.soft, "butt"); }
    words(`${length} mm`, left - 6, y, "right");
  }

  // --- turning it ---

  function again() {
    if (!wanted) {
      wanted = true;
      window.requestAnimationFrame(draw);
    }
    window.clearTimeout(speaking);
    speaking = window.setTimeout(() => { told.textContent = seenFrom(); }, 400);
  }

  function seenFrom() {
    const round = ((Math.round(view.azim + 90) % 360) + 540) % 360 - 180, up = Math.round(view.elev);
    const side = round === 0 ? "the front" : Math.abs(round) === 180 ? "behind" : `${Math.abs(round)}° ${round > 0 ? "right" : "left"} of the front`;
    const high = up === 0 ? "level with it" : up === 90 ? "straight from above" : up === -90 ? "straight from below" : `${Math.abs(up)}° from ${up > 0 ? "above" : "below"}`;
    return `Seen from ${side}, ${high}; ${Math.round(100 * view.zoom)} % of the first size.`;
  }

  function turn(azim, elev) {
    view.azim = ((view.azim + azim + 540) % 360) - 180;
    view.elev = Math.min(90, Math.max(-90, view.elev + elev));
    again();
  }

  function nearer(by) {
    const before = view.zoom;
    view.zoom = Math.min(12, Math.max(0.4, before * by));
    view.right *= view.zoom / before;
    view.up *= view.zoom / before;
    again();
  }

  function shift(right, up) {
    view.right += right;
    view.up += up;
    again();
  }

  function look(name) {
    [view.azim, view.elev] = VIEWS[name];
    view.zoom = 1;
    view.right = view.up = 0;
    again();
  }

  const DOES = {
    left: () => turn(-STEP, 0), right: () => turn(STEP, 0), up: () => turn(0, STEP), down: () => turn(0, -STEP),
    nearer: () => nearer(1.25), further: () => nearer(0.8),
  };
  const KEYS = { ArrowLeft: "left", ArrowRight: "right", ArrowUp: "up", ArrowDown: "down", "+": "nearer", "=": "nearer", "-": "further" };
  const SHIFTS = { ArrowLeft: [30, 0], ArrowRight: [-30, 0], ArrowUp: [0, 30], ArrowDown: [0, -30] };

  for (const button of document.querySelectorAll("button")) {
    const does = button.dataset.does;
    button.addEventListener("click", () => (VIEWS[does] ? look(does) : DOES[does]()));
  }
  canvas.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) { return; }
    if (event.shiftKey && SHIFTS[event.key]) { shift(...SHIFTS[event.key]); }
    else if (KEYS[event.key]) { DOES[KEYS[event.key]](); }
    else if (event.key === "Home") { look("quarter"); }
    else { return; }
    event.preventDefault();
  });
  let held = null;
  canvas.addEventListener("pointerdown", (event) => {
    held = [event.clientX, event.clientY];
    canvas.setPointerCapture(event.pointerId);
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!held) { return; }
    const dx = event.clientX - held[0], dy = event.clientY - held[1];
    held = [event.clientX, event.clientY];
    if (event.shiftKey) { shift(dx, dy); } else { turn(-0.5 * dx, 0.5 * dy); }
  });
  for (const ends of ["pointerup", "pointercancel"]) { canvas.addEventListener(ends, () => { held = null; }); }

  // --- light or dark, as the page around it is ---

  function page() {
    try { return window.parent !== window ? window.parent.document.body : null; } catch (_) { return null; }
  }

  function theme() {
    const around = page(), says = around && around.dataset.jpThemeLight;
    const dark = says ? says === "false" : window.matchMedia("(prefers-color-scheme: dark)").matches;
    document.documentElement.classList.toggle("dark", dark);
    shade = dark ? DARK : LIGHT;
    again();
  }

  // The still picture before the frame is for where there are no frames.
  try { window.frameElement.previousElementSibling.style.display = "none"; } catch (_) { /* a page of its own */ }
  const around = page();
  if (around) { new MutationObserver(theme).observe(around, { attributes: true, attributeFilter: ["data-jp-theme-light"] }); }
  window.matchMedia("(prefers-color-scheme: dark)").addEventListener("change", theme);
  new ResizeObserver(again).observe(canvas);
  // In a notebook the frame is as tall as what stands in it.
  new ResizeObserver(() => {
    try { window.frameElement.style.height = `${document.documentElement.offsetHeight + 4}px`; } catch (_) { /* a page of its own */ }
  }).observe(document.documentElement);
  theme();
})();
