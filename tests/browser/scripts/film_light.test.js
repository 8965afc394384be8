import { bodyMaterial, earth, lightUniforms, lineMaterial, stars } from "/film/film_light.js";
import { equal, near, test } from "./check.js";

test("all that is lit reads one sky", () => {
  const uniforms = lightUniforms();
  equal(
    [
      bodyMaterial(uniforms).uniforms.sun === uniforms.sun,
      earth(uniforms).material.uniforms.sun === uniforms.sun,
    ],
    [true, true],
  );
  equal(lineMaterial(true).vertexShader.includes("attribute vec4 color"), true);
});

test("stars are the same on every page, and the first is the Sun", () => {
  const [one, two] = [stars(), stars()].map(each => [...each.geometry.getAttribute("position").array]);
  equal(one, two);
  equal([one.slice(0, 3), stars().geometry.getAttribute("size").array[0]], [[1, 0, 0], -1]);
  for (let n = 0; n < 30; n += 3) near(Math.hypot(...one.slice(n, n + 3)), 1, 1e-6);
});
