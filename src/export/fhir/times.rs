//! Times of a recording as times of the day, where the recording knows when it began.

use jiff::{SignedDuration, Timestamp, tz::TimeZone};
use serde_json::{Value as Json, json};

use crate::log::Log;

/// When the recording began, and the offset that it was told in.
pub(super) struct Clock {
    start: Option<(Timestamp, TimeZone)>,
}

impl Clock {
    pub(super) fn new(log: &Log) -> Self {
        let start = log.source.recording_start.as_deref().and_then(|text| {
            let pieces = jiff::fmt::temporal::DateTimeParser::new().parse_pieces(text).ok()?;
            let offset = pieces.to_numeric_offset();
            Some((text.parse().ok()?, offset.map_or(TimeZone::UTC, TimeZone::fixed)))
        });
        Self { start }
    }

    /// A FHIR Period; nothing where the start is not known.
    pub(super) fn period(&self, from_s: f64, to_s: f64) -> Option<Json> {
        Some(json!({ "start": self.at(from_s)?, "end": self.at(to_s.max(from_s))? }))
    }

    /// To the millisecond, which a log's hundredths need.
    fn at(&self, seconds: f64) -> Option<String> {
        let (start, zone) = self.start.as_ref()?;
        #[expect(clippy::cast_possible_truncation, reason = "times of a recording")]
        let after = SignedDuration::from_millis((seconds.clamp(0.0, 1e9) * 1000.0).round() as i64);
        let at = start.checked_add(after).ok()?.to_zoned_datetime(zone.clone());
        Some(at.strftime("%Y-%m-%dT%H:%M:%S%.3f%:z").to_string())
    }
}

/// A FHIR instant of an RFC 3339 time: to the second or finer, with its offset from UTC.
pub(super) fn instant(text: &str) -> Option<String> {
    let at: Timestamp = text.parse().ok()?;
    Some(at.strftime("%Y-%m-%dT%H:%M:%SZ").to_string())
}
