import { gmt, hourMinute, momentMs, momentText, pet, petCeil, petFloor, petSeconds } from "/static/times.js";
import { equal, test } from "./check.js";

const PET_ZERO = Date.UTC(2031, 4, 14, 11, 24); // 31 + 28 + 31 + 30 + 14: the 134th day

test("PET is shown to the nearest minute, a half one upwards", () => {
  equal([0, 9.4, 9.5, 59.5, 60, 390, 605].map(pet), [
    "0:00",
    "0:09",
    "0:10",
    "1:00",
    "1:00",
    "6:30",
    "10:05",
  ]);
});

test("PET before pet_zero has a minus sign, and zero has none", () => {
  equal([-1, -75, -0.4, -0.5].map(pet), ["−0:01", "−1:15", "0:00", "0:00"]);
});

test("a clock does not strike a minute before it is over", () => {
  equal([59.99, 60 - 1e-9, 60, -0.01].map(petFloor), ["0:59", "1:00", "1:00", "−0:01"]);
  equal([60.01, 60 + 1e-9, 60, -0.99].map(petCeil), ["1:01", "1:00", "1:00", "0:00"]);
});

test("a clock shows its seconds", () => {
  equal([0, 0.5, 83.25, 59 + 59 / 60].map(petSeconds), ["0:00:00", "0:00:30", "1:23:15", "0:59:59"]);
});

test("before pet_zero the seconds are those that are left", () => {
  equal([-0.25, -1, -1.25, -61.5].map(petSeconds), ["−0:00:15", "−0:01:00", "−0:01:15", "−1:01:30"]);
});

test("GMT is the day of the year and the nearest minute", () => {
  equal(gmt(PET_ZERO), "134/11:24");
  equal(gmt(PET_ZERO + 29999), "134/11:24");
  equal(gmt(PET_ZERO + 30000), "134/11:25");
});

test("GMT turns the day and the year with the minute that is shown", () => {
  equal(gmt(Date.UTC(2031, 11, 31, 23, 59, 29)), "365/23:59");
  equal(gmt(Date.UTC(2031, 11, 31, 23, 59, 30)), "001/00:00");
  equal(gmt(Date.UTC(2032, 11, 31, 12, 0)), "366/12:00");
});

test("a moment goes into a field of UTC and comes back", () => {
  equal(momentText(PET_ZERO), "2031-05-14T11:24");
  equal(momentMs("2031-05-14T11:24"), PET_ZERO);
  equal(hourMinute(PET_ZERO), "11:24");
});

test("nothing typed, or no date, is no moment", () => {
  equal(["", "soon", "2031-13-01T00:00"].map(momentMs), [null, null, null]);
});
