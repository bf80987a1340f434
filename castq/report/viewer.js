// Shows cast wheels coloured by a result, with a cutting plane: plain WebGL2, no library, no request.
"use strict";
(() => {
const VERTEX = `#version 300 es
in uvec3 corner; uniform vec3 origin, size, target; uniform mat3 turn; uniform vec3 zoom; out vec3 at;
void main() { at = origin + vec3(corner) / 65535.0 * size; vec3 p = turn * (at - target);
  gl_Position = vec4(p.xy * zoom.xy, -p.z * zoom.z, 1.0); }`;
const FRAGMENT = `#version 300 es
precision highp float; precision highp sampler3D;
in vec3 at; uniform vec3 eye, boxLow, boxSize; uniform vec4 plane; uniform float cell, mode, lit, low, high, stride;
uniform sampler3D field, zones; uniform sampler2D ramp; uniform vec3 tints[9];
OUT result;
void main() {
  vec3 normal = normalize(cross(dFdx(at), dFdy(at))); if (dot(normal, eye) < 0.0) normal = -normal;
  vec3 spot = at - normal * cell * 0.5; bool cap = false;
  if (plane.w < 1e6) {
    float over = dot(plane.xyz, at) - plane.w; if (over > 0.0) discard;
    // The nearest thing seen is a back face: the eye looks at metal that the plane has cut open, so show the plane.
    float facing = dot(plane.xyz, eye);
    if (!gl_FrontFacing && facing > 1e-4) { spot = at - eye * (over / facing); normal = plane.xyz; cap = true; }
  }
  vec3 uvw = (spot - boxLow) / boxSize; float level = texture(field, uvw).r * 255.0;
  int code = int(texture(zones, uvw).r * 255.0 + 0.5);
#ifdef PICK
  result = uvec4(uint(clamp(level, 0.0, 255.0) * 1000.0), uint(code), uint(length(spot.xy) * 10.0),
    uint(spot.z * 10.0 + 100000.0));
#else
  float value = low + (level - 1.0) / 254.0 * (high - low); vec3 colour;
  if (mode > 0.5) colour = tints[code];
  else if (level < 0.5) colour = vec3(0.85, 0.87, 0.88);
  else {
    colour = texture(ramp, vec2((level - 1.0) / 254.0, 0.5)).rgb;
    float f = value / stride, slope = fwidth(f), near = abs(fract(f - 0.5) - 0.5) / max(slope, 1e-6);
    float dark = dot(colour, vec3(0.3, 0.6, 0.1)) > 0.5 ? 0.0 : 1.0;
    if (cap) colour = mix(colour, vec3(dark), 0.38 * (1.0 - smoothstep(0.5, 1.3, near)) * smoothstep(0.002, 0.008, slope));
  }
  if (lit > 0.5 && abs(float(code) - lit) > 0.5) colour = mix(colour, vec3(0.93, 0.94, 0.95), 0.82);
  float shade = cap ? 1.0 : 0.72 + 0.24 * dot(normal, eye) + 0.04 * normal.z * sign(eye.z);
  if (cap) colour = mix(colour, vec3(1.0), 0.04);
  result = vec4(min(colour * shade, 1.0), 1.0);
#endif
}`;
async function unpack(wheel) {
  const stream = new Blob([Uint8Array.from(atob(wheel.data), (c) => c.charCodeAt(0))]).stream().pipeThrough(new DecompressionStream("deflate"));
  const bytes = await new Response(stream).arrayBuffer(), parts = {};
  let offset = 0;
  for (const [name, length] of wheel.blocks) {
    const kind = { positions: Uint16Array }[name] || Uint8Array;
    parts[name] = new kind(bytes.slice(offset, offset + length)); offset += length;
  }
  parts.faces = triangles(parts.faces);
  const [nx, ny, nz] = wheel.grid.shape;
  for (const [name] of wheel.blocks.slice(4)) parts[name] = spread(parts[name], parts.carried, nx * ny * nz);
  return parts;
}
function spread(values, carried, count) {  // put the values of the cells that carry one in their places
  const all = new Uint8Array(count);
  for (let i = 0, next = 0; i < count; i++) if (carried[i >> 3] >> (7 - (i & 7)) & 1) all[i] = values[next++];
  return all;
}
function triangles(packed) {  // undo the packing: four planes of bytes, signs in the lowest bit, steps from the corner before
  const all = packed.length / 4, count = all / 3, faces = new Uint32Array(all);
  const step = (i) => { const v = packed[i] | packed[all + i] << 8 | packed[2 * all + i] << 16 | packed[3 * all + i] << 24;
    return v >>> 1 ^ -(v & 1); };
  for (let i = 0, first = 0; i < count; i++) {
    first += step(i);
    faces.set([first, first + step(count + i), first + step(2 * count + i)], 3 * i);
  }
  return faces;
}

function compile(gl, pick) {
  const program = gl.createProgram();
  const fragment = FRAGMENT.replace("300 es", pick ? "300 es\n#define PICK\n#define OUT out uvec4" : "300 es\n#define OUT out vec4");
  for (const [type, text] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, fragment]]) {
    const shader = gl.createShader(type);
    gl.shaderSource(shader, text); gl.compileShader(shader); gl.attachShader(program, shader);
    if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader));
  }
  gl.bindAttribLocation(program, 0, "corner"); gl.linkProgram(program);
  if (!gl.getProgramParameter(program, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(program));
  const place = new Map();
  const at = (name) => place.get(name) ?? place.set(name, gl.getUniformLocation(program, name)).get(name);
  return { program, at };
}

class Stage {  // one wheel on one canvas
  constructor(canvas, wheel, parts, book) {
    const gl = canvas.getContext("webgl2", { antialias: true, preserveDrawingBuffer: true });
    if (!gl) throw new Error("no WebGL2");
    Object.assign(this, { canvas, wheel, parts, book, gl, textures: {} });
    this.draw3d = compile(gl, false); this.pick3d = compile(gl, true);
    gl.bindVertexArray(gl.createVertexArray());
    gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ARRAY_BUFFER, parts.positions, gl.STATIC_DRAW);
    gl.enableVertexAttribArray(0); gl.vertexAttribIPointer(0, 3, gl.UNSIGNED_SHORT, 0, 0);
    gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, parts.faces, gl.STATIC_DRAW);
    this.spot = gl.createFramebuffer();
    gl.bindFramebuffer(gl.FRAMEBUFFER, this.spot);
    for (const [format, point] of [[gl.RGBA32UI, gl.COLOR_ATTACHMENT0], [gl.DEPTH_COMPONENT24, gl.DEPTH_ATTACHMENT]]) {
      gl.bindRenderbuffer(gl.RENDERBUFFER, gl.createRenderbuffer());
      gl.renderbufferStorage(gl.RENDERBUFFER, format, 1, 1);
      gl.framebufferRenderbuffer(gl.FRAMEBUFFER, point, gl.RENDERBUFFER, gl.getParameter(gl.RENDERBUFFER_BINDING));
    }
    this.ramps = [false, true].map((back) => this.flat(back ? [...book.ramp].reverse() : book.ramp));
    const { low, high } = wheel.mesh;
    this.middle = low.map((v, i) => (v + high[i]) / 2);
    this.reach = 1.04 * Math.max(...[0, 1].map((i) => Math.max(high[i], -low[i])));
  }
  flat(colours) {
    const { gl } = this, texture = gl.createTexture(), bytes = new Uint8Array(colours.flatMap((c) => [...c, 255]));
    gl.bindTexture(gl.TEXTURE_2D, texture);
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.RGBA8, colours.length, 1, 0, gl.RGBA, gl.UNSIGNED_BYTE, bytes);
    this.smooth(gl.TEXTURE_2D, gl.LINEAR);
    return texture;
  }
  smooth(kind, filter) {
    const { gl } = this, edge = gl.CLAMP_TO_EDGE;
    for (const name of [gl.TEXTURE_MIN_FILTER, gl.TEXTURE_MAG_FILTER]) gl.texParameteri(kind, name, filter);
    for (const name of [gl.TEXTURE_WRAP_S, gl.TEXTURE_WRAP_T, gl.TEXTURE_WRAP_R]) gl.texParameteri(kind, name, edge);
  }
  solid(name) {
    if (this.textures[name]) return this.textures[name];
    const { gl } = this, texture = gl.createTexture(), { shape, zone_shape: fine } = this.wheel.grid;
    const [nx, ny, nz] = name === "zones" ? fine : shape;
    gl.bindTexture(gl.TEXTURE_3D, texture); gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    gl.texImage3D(gl.TEXTURE_3D, 0, gl.R8, nx, ny, nz, 0, gl.RED, gl.UNSIGNED_BYTE, this.parts[name]);
    this.smooth(gl.TEXTURE_3D, name === "zones" ? gl.NEAREST : gl.LINEAR);
    return (this.textures[name] = texture);
  }
  render(view, pickAt) {
    const { gl, canvas, wheel, book } = this, set = pickAt ? this.pick3d : this.draw3d;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const w = Math.max(1, Math.round(canvas.clientWidth * ratio)), h = Math.max(1, Math.round(canvas.clientHeight * ratio));
    if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
    const field = book.fields[Math.max(0, view.field)], box = wheel.grid;
    gl.bindFramebuffer(gl.FRAMEBUFFER, pickAt ? this.spot : null);
    if (pickAt) gl.viewport(-Math.round(pickAt[0] * w), -Math.round((1 - pickAt[1]) * h), w, h);
    else gl.viewport(0, 0, w, h);
    gl.useProgram(set.program); gl.enable(gl.DEPTH_TEST);
    if (pickAt) { gl.clearBufferuiv(gl.COLOR, 0, new Uint32Array(4)); gl.clear(gl.DEPTH_BUFFER_BIT); }
    else { gl.clearColor(0.965, 0.973, 0.976, 1); gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT); }
    const v3 = (name, v) => gl.uniform3f(set.at(name), ...v), f1 = (name, v) => gl.uniform1f(set.at(name), v);
    const [cy, sy, cp, sp] = [Math.cos(view.yaw), Math.sin(view.yaw), Math.cos(view.pitch), Math.sin(view.pitch)];
    const right = [cy, sy, 0], eye = [sp * sy, -sp * cy, cp], up = [-cp * sy, cp * cy, sp];
    gl.uniformMatrix3fv(set.at("turn"), true, [...right, ...up, ...eye]);
    const scale = view.zoom / this.reach, half = Math.min(w, h);
    v3("zoom", [scale * half / w, scale * half / h, 0.4 / this.reach]);
    v3("target", this.middle.map((m, i) => m - (right[i] * view.x + up[i] * view.y)));
    v3("eye", eye); v3("origin", wheel.mesh.low); v3("size", wheel.mesh.high.map((v, i) => v - wheel.mesh.low[i]));
    v3("boxLow", box.low); v3("boxSize", box.high.map((v, i) => v - box.low[i]));
    f1("cell", (box.high[0] - box.low[0]) / box.shape[0]); f1("mode", view.field < 0 ? 1 : 0); f1("lit", view.lit);
    f1("low", field.low); f1("high", field.high);
    f1("stride", field.ticks.length > 1 ? field.ticks[1] - field.ticks[0] : field.high - field.low);
    gl.uniform4f(set.at("plane"), ...(view.cut ? [...view.cut.normal, view.cut.place] : [0, 0, 1, 1e9]));
    const tints = new Float32Array(27).fill(0.85);
    for (const zone of wheel.zones) tints.set(hex(view.field === -2 ? zone.verdict_tint : zone.tint), zone.code * 3);
    gl.uniform3fv(set.at("tints"), tints);
    [[gl.TEXTURE_3D, this.solid(field.name), "field"], [gl.TEXTURE_3D, this.solid("zones"), "zones"],
      [gl.TEXTURE_2D, this.ramps[+field.reverse], "ramp"]].forEach(([kind, texture, name], i) => {
      gl.activeTexture(gl.TEXTURE0 + i); gl.bindTexture(kind, texture); gl.uniform1i(set.at(name), i);
    });
    gl.drawElements(gl.TRIANGLES, this.parts.faces.length, gl.UNSIGNED_INT, 0);
    this.scale = scale * half / 2 / ratio;
    if (!pickAt) return null;
    const out = new Uint32Array(4);
    gl.readPixels(0, 0, 1, 1, gl.RGBA_INTEGER, gl.UNSIGNED_INT, out);
    if (!out[1]) return null;
    const level = out[0] / 1000, value = field.low + (level - 1) / 254 * (field.high - field.low);
    return { value, level, zone: wheel.zones.find((z) => z.code === out[1]), r: out[2] / 10, z: out[3] / 10 - 10000 };
  }
}

const hex = (c) => [1, 3, 5].map((i) => parseInt(c.slice(i, i + 2), 16) / 255);
const short = (v) => { const a = Math.abs(v); return v.toFixed(a >= 100 ? 0 : a >= 10 ? 1 : 2); };
const make = (tag, text = "") => Object.assign(document.createElement(tag), { textContent: text });

class Viewer {  // the controls, shared by all stages of one block
  constructor(root, stages, book) {
    Object.assign(this, { root, stages, book, queued: false });
    this.view = { yaw: 0, pitch: 0, zoom: 1, x: 0, y: 0, field: 0, lit: 0, cut: null };
    this.home();
    this.part = (name) => root.querySelector(`[data-part="${name}"]`);
    const choice = this.part("result");
    book.fields.forEach((f, i) => choice.append(new Option(f.unit ? `${f.label} [${f.unit}]` : f.label, i)));
    choice.append(new Option("Verdict by zone", -2), new Option("Zones", -1));
    choice.onchange = () => { this.view.field = +choice.value; this.legend(); this.redraw(); };
    const cut = this.part("cut"), slider = this.part("place");
    const recut = () => {
      const reach = stages[0].reach, [low, high] = [stages[0].wheel.mesh.low[2], stages[0].wheel.mesh.high[2]];
      const share = slider.value / 1000, across = cut.value === "across", angle = stages[0].wheel.angles[cut.value];
      const place = across ? low + share * (high - low) : (2 * share - 1) * reach;
      const normal = across ? [0, 0, 1] : [Math.sin(angle), -Math.cos(angle), 0];
      this.view.cut = cut.value === "none" ? null : { normal, place };
      slider.disabled = cut.value === "none";
      this.part("placed").textContent = this.view.cut ? across ? `z ${place.toFixed(0)} mm` : `${place.toFixed(0)} mm off the axis` : "";
      this.redraw();
    };
    cut.onchange = () => { slider.value = cut.value === "across" ? 750 : 500; recut(); };
    slider.oninput = recut;
    for (const button of root.querySelectorAll("[data-view]"))
      button.onclick = () => { this.home(button.dataset.view); this.redraw(); };
    stages.forEach((stage) => this.steer(stage));
    new ResizeObserver(() => this.redraw()).observe(root);
    cut.value = "spoke"; slider.value = 500; recut(); this.legend();
  }
  home(name = "tilted") {
    const pitch = { tilted: 1.0, outboard: 0, inboard: Math.PI, side: Math.PI / 2 }[name];
    const yaw = this.stages[0].wheel.angles.spoke + (name === "tilted" ? 0.25 : 0);
    const { clientWidth: w, clientHeight: h } = this.stages[0].canvas, widest = 0.98 * w / Math.min(w, h);
    Object.assign(this.view, { yaw, pitch, zoom: Math.min(widest, name === "tilted" ? 1.2 : 1), x: 0,
      y: name === "tilted" ? -0.3 * this.stages[0].reach : 0 });
  }
  redraw() {
    if (this.queued) return; else this.queued = true;
    requestAnimationFrame(() => { this.queued = false; for (const stage of this.stages) stage.render(this.view);
      this.part("rule").style.width = `${100 * this.stages[0].scale}px`; });
  }
  legend() {
    const { field } = this.view, bar = this.part("bar"), scale = this.book.fields[field], list = this.part("zones");
    bar.hidden = !scale;
    if (scale) {
      const colours = (scale.reverse ? [...this.book.ramp].reverse() : this.book.ramp).map((c) => `rgb(${c.join(",")})`);
      this.part("strip").style.background = `linear-gradient(to right, ${colours.join(",")})`;
      this.part("title").textContent = (scale.unit ? `${scale.label} [${scale.unit}]` : scale.label)
        + (scale.better ? ", darker is worse" : "");
      const ticks = this.part("ticks"); ticks.replaceChildren();
      for (const tick of scale.ticks) {
        const mark = make("span", `${+tick.toPrecision(6)}`);
        mark.style.left = `${100 * (tick - scale.low) / (scale.high - scale.low)}%`; ticks.append(mark);
      }
    }
    list.replaceChildren(); this.part("readout").textContent = "Point at the wheel to read a value.";
    for (const zone of this.stages[0].wheel.zones) {
      const button = make("button"), dot = make("i"), item = make("li"), several = this.stages.length > 1;
      dot.style.background = field === -1 || several ? zone.tint : zone.verdict_tint;
      button.append(dot, make("b", zone.name), make("em", several ? "" : zone.verdict)); button.type = "button";
      for (const stage of this.stages) {
        const same = stage.wheel.zones.find((z) => z.code === zone.code);
        const text = (same && scale && same.values[scale.name]) || "";
        if (several && same) button.append(make("span", `${stage.wheel.name}: ${text} ${same.verdict.toLowerCase()}`));
        else if (text) button.append(make("span", text));
      }
      button.setAttribute("aria-pressed", String(this.view.lit === zone.code));
      button.onclick = () => { this.view.lit = this.view.lit === zone.code ? 0 : zone.code; this.legend(); this.redraw(); };
      item.append(button); list.append(item);
    }
  }
  say(at) {
    const scale = this.book.fields[this.view.field], told = [];
    for (const stage of this.stages) {
      const hit = stage.render(this.view, at), name = this.stages.length > 1 ? `${stage.wheel.name}: ` : "";
      if (!hit) continue;
      const bound = scale && (hit.level >= 254.9 && scale.above ? "≥ " : hit.level <= 1.1 && scale.below ? "≤ " : "");
      const value = scale && hit.level > 0.5 ? `${bound}${short(hit.value)} ${scale.unit}, ` : "";
      const verdict = this.view.field === -2 ? `${hit.zone.verdict}, ` : "";
      told.push(`${name}${value}${verdict}${hit.zone.name} (r ${hit.r.toFixed(0)} mm, z ${hit.z.toFixed(0)} mm)`);
    }
    this.part("readout").textContent = told.join("   ") || "Point at the wheel to read a value.";
  }
  steer(stage) {
    const { canvas } = stage, { view } = this, held = new Map();
    let gap = 0;
    const share = (e) => { const b = canvas.getBoundingClientRect();
      return [(e.clientX - b.left) / b.width, (e.clientY - b.top) / b.height]; };
    const turn = (dx, dy) => { view.yaw -= dx * 0.008; view.pitch = Math.min(3.14, Math.max(0, view.pitch - dy * 0.008)); };
    const shift = (dx, dy) => { view.x += dx / stage.scale; view.y -= dy / stage.scale; };
    const zoom = (by) => { view.zoom = Math.min(12, Math.max(0.5, view.zoom * by)); };
    canvas.onpointerdown = (e) => { held.set(e.pointerId, [e.clientX, e.clientY]); canvas.setPointerCapture(e.pointerId); gap = 0; };
    canvas.onpointerup = canvas.onpointercancel = (e) => { held.delete(e.pointerId); gap = 0; };
    canvas.onpointermove = (e) => {
      const before = held.get(e.pointerId);
      if (!before) { this.say(share(e)); return; }
      const [dx, dy] = [e.clientX - before[0], e.clientY - before[1]];
      held.set(e.pointerId, [e.clientX, e.clientY]);
      if (held.size === 2) {
        const [a, b] = [...held.values()], now = Math.hypot(a[0] - b[0], a[1] - b[1]);
        if (gap) zoom(now / gap);
        gap = now; shift(dx / 2, dy / 2);
      } else if (e.shiftKey || e.buttons === 2 || e.buttons === 4) shift(dx, dy);
      else turn(dx, dy);
      this.redraw();
    };
    canvas.oncontextmenu = (e) => e.preventDefault();
    canvas.addEventListener("wheel", (e) => { if (!e.ctrlKey && document.activeElement !== canvas) return;
      e.preventDefault(); zoom(Math.exp(-e.deltaY * 0.0015)); this.redraw(); }, { passive: false });
    canvas.onkeydown = (e) => {
      const arrow = { ArrowLeft: [-24, 0], ArrowRight: [24, 0], ArrowUp: [0, -24], ArrowDown: [0, 24] }[e.key];
      if (arrow) (e.shiftKey ? shift : turn)(...arrow);
      else if (e.key === "+" || e.key === "=") zoom(1.15);
      else if (e.key === "-") zoom(1 / 1.15);
      else return;
      e.preventDefault(); this.redraw(); this.say([0.5, 0.5]);
    };
  }
}

async function start(root) {
  const book = JSON.parse(document.getElementById("viewer-data").textContent);
  const canvases = [...root.querySelectorAll("canvas")];
  root.classList.add("live");
  try {
    const parts = await Promise.all(book.wheels.map(unpack));
    new Viewer(root, book.wheels.map((w, i) => new Stage(canvases[i], w, parts[i], book)), book);
    root.dataset.ready = "yes";
  } catch (fault) {
    root.classList.remove("live");
    root.querySelector("[data-part=\"why\"]").textContent = `The turning view needs WebGL2 (${fault.message}).`;
  }
}
document.querySelectorAll(".viewer").forEach(start);
})();
