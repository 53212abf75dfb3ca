export function correct(raw, temp, atc) { return { brix20_deg: Number(atc) === 1 || temp === null ? raw : raw + 0.07 * (temp - 20), sd_deg: 0.1, tag: "x" }; }
