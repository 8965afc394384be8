// Shadows of the Sun, for a picture that stands still: how far the Sun's light comes, drawn from where it is.

import {
  DepthTexture,
  Matrix4,
  OrthographicCamera,
  ShaderMaterial,
  Vector3,
  WebGLRenderTarget,
} from "./vendor/three.min.js";
import { add, clamped, length, minus, times } from "./film_vector.js";

const PIXELS = 2048;
const [LEAST_M, MOST_M, AWAY_M] = [10, 70, 150];

export class Shadow {
  constructor() {
    this.camera = new OrthographicCamera();
    this.matrix = new Matrix4();
    this.material = new ShaderMaterial({
      vertexShader: "void main() { gl_Position = projectionMatrix * modelViewMatrix * vec4(position, 1.); }",
      fragmentShader: "void main() { gl_FragColor = vec4(1.); }",
      side: 2,
    });
  }

  // Draws what stands in the Sun's way around what is looked at; gives the light's uniforms.
  draw(renderer, scene, solids, sun, pose) {
    this.target ??= new WebGLRenderTarget(PIXELS, PIXELS, { depthTexture: new DepthTexture(PIXELS, PIXELS) });
    const round = clamped(length(minus(pose.look, pose.eye)) * 0.9, LEAST_M, MOST_M);
    const { camera } = this;
    Object.assign(camera, { left: -round, right: round, top: round, bottom: -round });
    Object.assign(camera, { near: 1, far: 2 * AWAY_M });
    camera.position.set(...add(pose.look, times(sun, AWAY_M)));
    camera.up.set(...(Math.abs(sun[2]) < 0.9 ? [0, 0, -1] : [1, 0, 0]));
    camera.lookAt(new Vector3(...pose.look));
    camera.updateProjectionMatrix();
    camera.updateMatrixWorld();
    const others = scene.children.filter(each => each.visible && !solids.has(each));
    for (const each of others) each.visible = false;
    scene.overrideMaterial = this.material;
    renderer.setRenderTarget(this.target);
    renderer.render(scene, camera);
    renderer.setRenderTarget(null);
    scene.overrideMaterial = null;
    for (const each of others) each.visible = true;
    this.matrix.multiplyMatrices(camera.projectionMatrix, camera.matrixWorldInverse);
    return { shade: this.target.depthTexture, toShade: this.matrix };
  }

  giveBack() {
    this.target?.dispose();
    this.target = null;
  }
}
