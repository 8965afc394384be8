import { landRings, landTexture, paintLand } from "/film/film_land.js";
import { LAND } from "/film/vendor/land.min.js";
import { equal, test } from "./check.js";

test("arcs are steps of whole numbers, and run backwards where their number says so", () => {
  const topology = {
    transform: { scale: [2, 1], translate: [-10, 5] },
    arcs: [
      [
        [0, 0],
        [1, 2],
      ],
      [
        [0, 0],
        [3, 0],
        [-2, 2],
      ],
    ],
    objects: { land: { geometries: [{ type: "Polygon", arcs: [[0, -2]] }] } },
  };
  equal(landRings(topology), [
    [
      [-10, 5],
      [-8, 7],
      [-4, 5],
      [-10, 5],
    ],
  ]);
});

// Places far from any coast, and amid oceans: common knowledge, whole degrees.
test("land is where the atlas has it", () => {
  const canvas = new OffscreenCanvas(720, 360);
  const context = canvas.getContext("2d");
  paintLand(context, [720, 360], LAND);
  const isLand = ([lon, lat]) =>
    context.getImageData(Math.floor((lon + 180) * 2), Math.floor((90 - lat) * 2), 1, 1).data[0] > 128;
  const dry = [
    [10, 48],
    [25, 0],
    [100, 60],
    [-100, 40],
    [-55, -10],
    [135, -25],
    [0, -85],
    [-60, -85],
    [175, 66.5],
    [-178, 66.5],
  ];
  const wet = [
    [-40, 30],
    [-150, 0],
    [80, -20],
    [0, 0],
    [-30, -40],
    [170, -50],
    [0, 88],
    [0, 66.5],
    [-179, 0],
    [60, -66],
  ];
  equal(
    [dry.map(isLand).join(), wet.map(isLand).join()],
    [dry.map(() => true).join(), wet.map(() => false).join()],
  );
});

test("its picture is a texture of its own size", () => {
  const texture = landTexture();
  equal([texture.image.width, texture.image.height], [2048, 1024]);
  texture.dispose();
});
