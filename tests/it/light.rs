//! An invented tank under two fixtures, and readings as somebody would take them there.
//!
//! Richer than what undim assumes: its own emitters, a haze of reflected light, ripple of the surface,
//! places found again only roughly, a device that is never quite the same after switching on.

use std::fmt::Write as _;

/// Stations: name, from left, from bottom, from front, cm.
pub(crate) const STATIONS: [(&str, [f64; 3]); 12] = [
    ("reef-top", [58.0, 34.0, 30.0]),
    ("left-ledge", [24.0, 30.0, 28.0]),
    ("left-sand", [16.0, 6.0, 20.0]),
    ("left-peak", [34.0, 38.0, 34.0]),
    ("arch", [46.0, 20.0, 40.0]),
    ("middle-rock", [62.0, 24.0, 22.0]),
    ("back-wall", [72.0, 28.0, 50.0]),
    ("right-ledge", [96.0, 28.0, 26.0]),
    ("right-peak", [88.0, 36.0, 36.0]),
    ("right-sand", [108.0, 8.0, 24.0]),
    ("front-plate", [78.0, 14.0, 14.0]),
    ("cave-mouth", [40.0, 12.0, 48.0]),
];

/// A tank file for it, without the head: fixtures, stations, scene.
pub(crate) fn tank_file() -> String {
    let mut text = String::from(
        "name = \"Story\"\n[inside]\nlength_cm = 120.0\nfront_to_back_cm = 60.0\nheight_cm = 55.0\nwater_cm = 50.0\n\n\
         [[fixture]]\nid = \"west\"\ncentre_cm = [30.0, 72.0, 30.0]\nsize_cm = [20.0, 20.0]\n\n\
         [[fixture]]\nid = \"east\"\ncentre_cm = [90.0, 72.0, 30.0]\nsize_cm = [20.0, 20.0]\n\n\
         [[scene]]\nid = \"noon\"\nlevels = { west = 0.7, east = 0.7 }\n\n",
    );
    for (name, [left, bottom, front]) in STATIONS {
        let _ = writeln!(
            text,
            "[[station]]\nid = \"{name}\"\nat_cm = [{left:.1}, {bottom:.1}, {front:.1}]\n"
        );
    }
    text
}

/// A seeded stream of numbers (Steele, Lea & Flood 2014, `SplitMix64`).
pub(crate) struct Numbers(pub(crate) u64);

impl Numbers {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// Even on 0..1.
    pub(crate) fn even(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Normal, mean 0, standard deviation 1 (Box & Muller 1958).
    pub(crate) fn normal(&mut self) -> f64 {
        let radius = (-2.0 * (1.0 - self.even()).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.even()).cos()
    }
}

/// The light at a place with what each fixture gives, µmol m⁻² s⁻¹.
pub(crate) fn ppfd(at: [f64; 3], west: f64, east: f64) -> f64 {
    let part = |left: f64| {
        let (across, deep, along) = (at[0] - left, 72.0 - at[1], at[2] - 30.0);
        let squared = across * across + deep * deep + along * along;
        let cosine = deep / squared.sqrt();
        4.6e5 * cosine.powf(4.0) / squared * (-0.0025 * (50.0 - at[1])).exp()
    };
    west * part(30.0) + east * part(90.0) + 8.0
}

/// How a survey goes.
pub(crate) struct Outing {
    pub(crate) date: &'static str,
    pub(crate) west: f64,
    pub(crate) east: f64,
    pub(crate) seed: u64,
}

/// Five readings at each station, as CSV.
pub(crate) fn survey_csv(outing: &Outing) -> String {
    let mut numbers = Numbers(outing.seed);
    let shared = 1.0 + 0.007 * numbers.normal();
    let mut text = String::from("time,station,x_cm,y_cm,z_cm,PPFD\n");
    let mut second = 0;
    for (name, at) in STATIONS {
        let found = at.map(|c| c + 0.3 * numbers.normal());
        let light = ppfd(found, outing.west, outing.east) * shared;
        for _ in 0..5 {
            let value = light * (1.0 + 0.012 * numbers.normal());
            let (minute, rest) = (second / 60, second % 60);
            let _ = writeln!(
                text,
                "{}T12:{minute:02}:{rest:02},{name},{:.1},{:.1},{:.1},{value:.1}",
                outing.date, at[0], at[1], at[2]
            );
            second += 9;
        }
        second += 20;
    }
    text
}
