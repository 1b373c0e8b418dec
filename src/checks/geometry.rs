//! Arithmetic on shapes, needles and times. Comes in: numbers that were said. Goes out: computed ones, not yet rounded.
//! Plain geometry of straight, round, evenly tapered instruments: a computed diameter is never a measured one
//! (`iso3630_constants`: no file is exactly its nominal size).

/// The working part of an instrument: the diameter is defined no further (TB1).
pub const WORKING_PART_MM: f64 = 16.0;
/// The taper of a hand file where none is said (TB1).
pub const STANDARD_TAPER: f64 = 0.02;

/// d(L) = size/100 + taper·L, in mm, `level_mm` from the tip; nothing outside the working part.
pub fn diameter_mm(size: f64, taper: f64, level_mm: f64) -> Option<f64> {
    (0.0..=WORKING_PART_MM).contains(&level_mm).then(|| taper.mul_add(level_mm, size / 100.0))
}

/// How far from the tip a cylinder of this diameter meets the wall, in mm; 0 where it passes to the tip, nothing where
/// it cannot enter the working part or the shape has no taper.
pub fn needle_bind_mm(size: f64, taper: f64, needle_mm: f64) -> Option<f64> {
    let short = needle_mm - size / 100.0;
    if short <= 1e-9 {
        return Some(0.0);
    }
    let level = short / taper;
    (taper > 0.0 && level <= WORKING_PART_MM).then_some(level)
}

/// The size of a file after `trim_mm` were cut off its tip, in hundredths of a mm.
pub fn size_after_trimming(size: f64, taper: f64, trim_mm: f64) -> f64 {
    (taper * trim_mm).mul_add(100.0, size)
}

/// How much wider the next size is, in per cent.
pub fn size_step_pct(from: f64, to: f64) -> f64 {
    (to - from) / from * 100.0
}

/// The taper of an instrument from a cone's slope as machinists give it (per cent of radius).
pub fn taper_of_radius_pct(radius_pct: f64) -> f64 {
    radius_pct * 2.0 / 100.0
}

/// How long a volume takes at a flow, in s.
pub fn delivery_time_s(volume_ml: f64, flow_ml_per_s: f64) -> f64 {
    volume_ml / flow_ml_per_s
}

/// Volume of the frustum between the tip and `level_mm`, in µL (= mm³).
pub fn cone_volume_ul(size: f64, taper: f64, level_mm: f64) -> Option<f64> {
    let tip = size / 100.0;
    let top = diameter_mm(size, taper, level_mm)?;
    Some(std::f64::consts::PI * level_mm / 12.0 * (tip * tip + tip * top + top * top))
}

/// The working length from a canal's length by the convention of studies: less half a millimetre (BMRI2020).
pub fn working_length_mm(canal_mm: f64, offset_mm: f64) -> f64 {
    canal_mm - offset_mm
}

/// Angle between the canal's first straight part and the line from where it leaves that part to the foramen, in
/// degrees (JDS-Shiraz). Points are (x, y) in mm.
pub fn curvature_deg(orifice: (f64, f64), deviation: (f64, f64), foramen: (f64, f64)) -> f64 {
    let (ax, ay) = (deviation.0 - orifice.0, deviation.1 - orifice.1);
    let (bx, by) = (foramen.0 - deviation.0, foramen.1 - deviation.1);
    let (dot, cross) = (ax.mul_add(bx, ay * by), ax.mul_add(by, -(ay * bx)));
    cross.abs().atan2(dot).to_degrees()
}

/// The class of a curvature (JOOMAG: up to 5, 10 to 20, 25 to 70); the gaps are the scheme's own.
pub fn curvature_class(degrees: f64) -> &'static str {
    match degrees {
        d if (0.0..=5.0).contains(&d) => "straight",
        d if (10.0..=20.0).contains(&d) => "moderate",
        d if (25.0..=70.0).contains(&d) => "severe",
        _ => "between classes",
    }
}
