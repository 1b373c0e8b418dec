//! Exact decimal numbers: integers of thousandths, never binary floats.
//!
//! Comes in: digits that were said. Goes out: a number that prints exactly as it was said ("2.48", "21.1").
//! Thousandths, because "two point six two five" is said of tapers and doses; nothing here needs more.

use std::{fmt, str::FromStr};

use serde::{Deserialize, Deserializer, Serialize, Serializer, de};

/// An exact decimal with a resolution of 0.001 and a range of ±9.2e15.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Decimal(i64);

impl Decimal {
    pub const ZERO: Self = Self(0);

    /// `21` → 21.
    pub const fn whole(n: i64) -> Self {
        Self(n.saturating_mul(1000))
    }

    /// `19500` → 19.5.
    pub const fn thousandths(n: i64) -> Self {
        Self(n)
    }

    pub const fn as_thousandths(self) -> i64 {
        self.0
    }

    pub const fn is_whole(self) -> bool {
        self.0 % 1000 == 0
    }

    /// The whole part as an integer, or nothing where there is a fraction.
    pub const fn to_whole(self) -> Option<i64> {
        if self.is_whole() { Some(self.0 / 1000) } else { None }
    }

    /// For arithmetic on measures (diameters, speeds), never for keeping a said number.
    #[expect(clippy::cast_precision_loss, reason = "said numbers are far below 2^53 thousandths")]
    pub fn to_f64(self) -> f64 {
        self.0 as f64 / 1000.0
    }

    /// The nearest thousandth; nothing for NaN, infinities and numbers out of range.
    #[expect(clippy::cast_possible_truncation, reason = "range checked")]
    pub fn from_f64(x: f64) -> Option<Self> {
        let scaled = x * 1000.0;
        (scaled.is_finite() && scaled.abs() < 9e15).then(|| Self(scaled.round() as i64))
    }

    pub const fn saturating_add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }

    pub const fn saturating_sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }

    /// Times an integer ("three mils" × 4 canals).
    pub const fn saturating_times(self, n: i64) -> Self {
        Self(self.0.saturating_mul(n))
    }

    /// Divided by 10 to the power `places`; digits under a thousandth are an error of the caller's grammar and
    /// give nothing.
    pub const fn shift(self, places: u32) -> Option<Self> {
        let Some(by) = 10_i64.checked_pow(places) else { return None };
        if self.0 % by == 0 { Some(Self(self.0 / by)) } else { None }
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let n = self.0.unsigned_abs();
        let (whole, part) = (n / 1000, n % 1000);
        if part == 0 {
            return f.pad(&format!("{sign}{whole}"));
        }
        let digits = format!("{part:03}");
        f.pad(&format!("{sign}{whole}.{}", digits.trim_end_matches('0')))
    }
}

impl fmt::Debug for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

/// Why a text is not a decimal.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("`{0}` is not a decimal number with at most three places")]
pub struct NotDecimal(pub String);

impl FromStr for Decimal {
    type Err = NotDecimal;

    /// "21", "21.5", ".06", "-0.5".
    fn from_str(s: &str) -> Result<Self, NotDecimal> {
        let wrong = || NotDecimal(s.to_owned());
        let (negative, body) = s.strip_prefix('-').map_or((false, s), |b| (true, b));
        let (whole, part) = body.split_once('.').unwrap_or((body, ""));
        let digits = |t: &str| t.bytes().all(|b| b.is_ascii_digit());
        if whole.len() + part.len() == 0
            || whole.len() > 12
            || part.len() > 3
            || !digits(whole)
            || !digits(part)
        {
            return Err(wrong());
        }
        let whole: i64 = if whole.is_empty() { 0 } else { whole.parse().map_err(|_| wrong())? };
        let part: i64 = format!("{part:0<3}").parse().map_err(|_| wrong())?;
        let n = whole * 1000 + part;
        Ok(Self(if negative { -n } else { n }))
    }
}

impl Serialize for Decimal {
    /// A JSON number whose shortest printing is the decimal itself.
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        match self.to_whole() {
            Some(n) => s.serialize_i64(n),
            None => s.serialize_f64(self.to_f64()),
        }
    }
}

impl<'de> Deserialize<'de> for Decimal {
    fn deserialize<D: Deserializer<'de>>(d: D) -> Result<Self, D::Error> {
        let x = f64::deserialize(d)?;
        Self::from_f64(x)
            .ok_or_else(|| de::Error::custom(format!("{x} is out of range for a measured number")))
    }
}
