// How things are lit: by the Sun of the minute, by the Earth below it, by stars and by lamps at the helmets.
// Two small programs and one for what shines by itself; they are most of the time to the first picture.

import {
  BufferAttribute,
  BufferGeometry,
  Matrix4,
  Mesh,
  Points,
  ShaderMaterial,
  SphereGeometry,
  Vector3,
} from "./vendor/three.min.js";
import { landTexture } from "./film_land.js";

const EARTH_KM = 6371;
const GAMMA = "vec3 shown(vec3 light) { return sqrt(1. - exp(-1.5 * light)); }";

// What all materials read of the sky and the lamps: set once a picture.
export const lightUniforms = () => ({
  sun: { value: new Vector3(0, 0, -1) },
  nadir: { value: new Vector3(0, 0, 1) },
  day: { value: 1 },
  lampAt: { value: [new Vector3(), new Vector3()] },
  lampTo: { value: [new Vector3(), new Vector3()] },
  lamps: { value: 0 },
  shaded: { value: 0 },
  shade: { value: null },
  toShade: { value: new Matrix4() },
});

// White light by day, the Earth's shine from below by how high the Sun stands over it, little at night.
export const bodyMaterial = uniforms =>
  new ShaderMaterial({
    uniforms,
    vertexShader: `attribute vec3 color; varying vec3 c, n, p;
      void main() { vec4 at = modelMatrix * vec4(position, 1.); p = at.xyz; c = color * color;
        n = mat3(modelMatrix) * normal; gl_Position = projectionMatrix * viewMatrix * at; }`,
    fragmentShader: `precision highp float; varying vec3 c, n, p; ${GAMMA}
      uniform vec3 sun, nadir, lampAt[2], lampTo[2]; uniform float day, lamps, shaded;
      uniform sampler2D shade; uniform mat4 toShade;
      float sunlit(vec3 normal) {
        vec3 at = (toShade * vec4(p + normal * .05, 1.)).xyz * .5 + .5;
        if (any(lessThan(at, vec3(0.))) || any(greaterThan(at, vec3(1.)))) return 1.;
        float light = 0.;
        for (int k = 0; k < 4; k++) {
          vec2 aside = vec2(k < 2 ? -.5 : .5, mod(float(k), 2.) - .5) / 2048.;
          light += step(at.z - .0004, texture2D(shade, at.xy + aside).r); }
        return light / 4.; }
      void main() { vec3 normal = normalize(n);
        float high = max(-dot(sun, nadir), 0.);
        float below = .5 + .5 * dot(normal, nadir);
        vec3 light = vec3(.02, .025, .04) + day * vec3(.1, .105, .12)
          + day * vec3(1.25, 1.2, 1.1) * max(dot(normal, sun), 0.) * (shaded > 0. ? sunlit(normal) : 1.)
          + (.1 * day + .55 * high) * below * vec3(.5, .62, .8);
        if (lamps > 0.) for (int k = 0; k < 2; k++) { vec3 to = lampAt[k] - p; float far = dot(to, to);
          to *= inversesqrt(far + .01); float cone = smoothstep(.1, .75, dot(-to, lampTo[k])) + .12;
          float lit = cone * (.25 + .75 * max(dot(normal, to), 0.)) * 2.6 / (.6 + .35 * far);
          light += lamps * vec3(1., .96, .86) * lit; }
        gl_FragColor = vec4(shown(c * light), 1.); }`,
  });

// Lines that are told, not lit: routes, tethers, rings, edges.
export const lineMaterial = hasColors =>
  new ShaderMaterial({
    transparent: true,
    depthWrite: false,
    vertexShader: `${hasColors ? "attribute vec4 color; " : ""}varying vec4 c;
      void main() { c = ${hasColors ? "color" : "vec4(0., 0., 0., .38)"};
        gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.);
        gl_Position.z -= .0006 * gl_Position.w; }`,
    fragmentShader: "precision highp float; varying vec4 c; void main() { gl_FragColor = c; }",
    side: 2,
  });

// The globe as it looks from here, drawn at the far plane behind everything: day, night and the line between
// them, land and sea, lines of latitude and longitude every 15 degrees, thin air at its limb.
export function earth(uniforms) {
  const material = new ShaderMaterial({
    uniforms: { ...uniforms, eye: { value: new Vector3() }, land: { value: landTexture() } },
    depthWrite: false,
    transparent: true, // it is not: so it is drawn after the stars, which it hides
    vertexShader: `varying vec3 n, at, own;
      void main() { n = mat3(modelMatrix) * normal; own = normal;
        vec4 place = modelMatrix * vec4(position, 1.); at = place.xyz;
        gl_Position = projectionMatrix * viewMatrix * place; gl_Position.z = gl_Position.w * .99999; }`,
    fragmentShader: `precision highp float; varying vec3 n, at, own; uniform vec3 sun, eye;
      uniform sampler2D land; ${GAMMA}
      void main() { vec3 normal = normalize(n), o = normalize(own);
        float lit = dot(normal, sun), rim = 1. - max(dot(normal, normalize(eye - at)), 0.);
        float day = smoothstep(-.12, .2, lit);
        float lat = degrees(asin(clamp(o.z, -1., 1.))) / 15., lon = degrees(atan(o.y, o.x)) / 15.;
        float grid = max(smoothstep(.496, .5, abs(fract(lat) - .5)),
          smoothstep(.496, .5, abs(fract(lon) - .5)) * step(abs(lat), 5.));
        float dry = texture2D(land, vec2(lon / 24. + .5, lat / 12. + .5)).r;
        vec3 ground = mix(vec3(.02, .075, .19), vec3(.12, .13, .075), dry) + .03 * grid;
        vec3 color = ground * (.04 + day * (.35 + .9 * max(lit, 0.)));
        color += vec3(.004, .006, .012) + (.01 * dry + .012 * grid) * (1. - day);
        color += vec3(.9, .35, .1) * .12 * smoothstep(.08, 0., abs(lit - .02));
        color += vec3(.25, .55, 1.) * pow(rim, 4.) * (.9 * day + .02);
        gl_FragColor = vec4(shown(color), 1.); }`,
  });
  const globe = new Mesh(new SphereGeometry(100, 96, 64).rotateX(Math.PI / 2), material);
  globe.renderOrder = 3;
  globe.frustumCulled = false;
  return globe;
}

// Put before the camera: its size and place in the sky are true, its distance is not.
export function placeEarth(globe, sky, camera, frame) {
  const far = (100 * (EARTH_KM + sky.altitude_km)) / EARTH_KM;
  globe.position.copy(camera.position).addScaledVector(new Vector3(...sky.nadir), far);
  globe.setRotationFromMatrix(frame);
  globe.material.uniforms.eye.value.copy(camera.position);
}

// Stars that stay where they are while the station turns, and the Sun as a disc with a glow.
export function stars() {
  const count = 900;
  const [at, size] = [new Float32Array(3 * count), new Float32Array(count)];
  let seed = 7;
  const next = () => {
    seed = (seed * 16807) % 2147483647;
    return seed / 2147483647;
  };
  for (let n = 0; n < count; n += 1) {
    const [z, turn] = [2 * next() - 1, 2 * Math.PI * next()];
    const flat = Math.sqrt(1 - z * z);
    at.set([flat * Math.cos(turn), flat * Math.sin(turn), z], 3 * n);
    size[n] = 0.6 + 1.6 * next() ** 6;
  }
  size[0] = -1; // the Sun, along x
  at.set([1, 0, 0], 0);
  const points = new BufferGeometry();
  points.setAttribute("position", new BufferAttribute(at, 3));
  points.setAttribute("size", new BufferAttribute(size, 1));
  const material = new ShaderMaterial({
    uniforms: { day: { value: 1 }, pixel: { value: 1 } },
    transparent: true,
    depthWrite: false,
    vertexShader: `attribute float size; varying float s; uniform float pixel, day;
      void main() { s = size; vec3 at = mat3(viewMatrix) * mat3(modelMatrix) * position;
        gl_Position = projectionMatrix * vec4(at * 50., 1.); gl_Position.z = gl_Position.w * .99999;
        gl_PointSize = size < 0. ? 64. * pixel * step(.02, day) : size * 1.6 * pixel; }`,
    fragmentShader: `precision highp float; varying float s; uniform float day;
      void main() { float far = 2. * length(gl_PointCoord - .5);
        float glow = step(far, 1.) * (.75 - .5 * day);
        if (s < 0.) glow = smoothstep(.2, .14, far) + .45 * pow(max(1. - far, 0.), 3.);
        gl_FragColor = vec4(s < 0. ? vec3(1., .97, .88) : vec3(.9, .93, 1.), glow); }`,
  });
  const sky = new Points(points, material);
  sky.renderOrder = 2;
  sky.frustumCulled = false;
  return sky;
}
