//! Every listening of a recording by itself, kept so that what is made of them can be made again without a recogniser:
//! doubts are fitted that way. Never part of a log.

use serde::{Deserialize, Serialize};

use super::{
    breath,
    calibration::{self, Signal, Table},
    hear::{self, Heard, Takes, Way},
    heard::Breath,
    run::{HeardSpan, seconds},
    spans::Span,
};

/// What was heard in one span, in every way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Tape {
    pub span: Span,
    /// Time of the recording from which the words' times count.
    pub first_s: f64,
    /// Who listened a second and a third time.
    pub names: (String, String),
    /// Only where the first listening is in doubt there is a second.
    pub sparing: bool,
    pub takes: Takes,
}

impl Tape {
    pub fn from_s(&self) -> f64 {
        seconds(self.span.from)
    }

    pub fn to_s(&self) -> f64 {
        seconds(self.span.to)
    }

    /// What listening makes of it; a way that was not taped counts as one in which nothing was heard.
    fn heard(&self) -> Heard {
        let take = |way| self.takes.get(&way).cloned().unwrap_or_default();
        let (first, speech_s) = (take(Way::AsIs), self.to_s() - self.from_s());
        hear::hear(first, &mut |way| Ok(take(way)), Some(Way::Faster), self.sparing, speech_s)
            .unwrap_or_default()
    }

    /// The breath that [`super::listen_each`] makes of it with this table.
    pub fn breath(&self, table: &Table) -> Option<Breath> {
        let span = HeardSpan {
            span: self.span,
            first_s: self.first_s,
            heard: self.heard(),
            takes: Takes::new(),
            sparing: self.sparing,
            names: self.names.clone(),
        };
        breath::breath(span, table)
    }

    /// The heard words with what doubts are fitted from.
    pub fn signals(&self) -> Vec<(String, Signal)> {
        let words = self.heard().merged.words.into_iter();
        words.map(|w| (w.raw.text.clone(), calibration::signal(&w.raw.text, w.backing, w.raw.p))).collect()
    }
}

/// Listens as [`super::listen_each`] does, but in every way, and gives each listening by itself.
#[cfg(feature = "whisper")]
pub fn record(
    samples: &mut dyn crate::audio::Samples,
    settings: &super::Settings,
    sink: &mut dyn FnMut(Tape),
) -> Result<(), super::Error> {
    use super::run::{How, Step, run};
    let finish = |heard: HeardSpan| {
        let HeardSpan { span, first_s, names, sparing, takes, .. } = heard;
        Some(Tape { span, first_s, names, sparing, takes })
    };
    super::whisper::with_models(settings, &mut |detector, make_ears, how, _| {
        run(samples, detector, make_ears, &How { tape: true, ..*how }, &finish, &mut |step| {
            if let Step::Item(tape) = step {
                sink(tape);
            }
        })
    })?;
    Ok(())
}
