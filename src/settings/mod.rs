//! What a practice chooses and adds: `tugback.toml` in the working folder, or in the user's own settings folder.
//!
//! Comes in: files. Goes out: plain values with the place that each came from, or one sentence with the line and the
//! cure. A key of the nearer file replaces that of the farther one; own instruments and phrases add up. Nothing is
//! done here with any of them.

mod own;
mod record;
mod show;
mod valid;
mod windows;
mod wrong;

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use clap::ValueEnum;
use serde::{Deserialize, Serialize};

pub use own::{Instrument, Phrase};
pub use record::{Keys, ReadBack, Record};
pub use windows::Windows;
pub use wrong::SettingsError;

/// The name of a settings file.
pub const FILE: &str = "tugback.toml";

/// Everything that a practice may choose.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Settings {
    /// How tooth numbers are meant.
    pub notation: Notation,
    /// The speech model, a ggml Whisper file; a path without a root counts from the settings file's folder.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub model: Option<PathBuf>,
    /// How much doubt is shown.
    pub strictness: Strictness,
    pub checks: Windows,
    pub record: Record,
    instrument: Vec<Instrument>,
    phrase: Vec<Phrase>,
    /// Where each key was set; what is not in here is a default.
    #[serde(skip)]
    origins: BTreeMap<String, Origin>,
}

/// How tooth numbers are understood where the words leave it open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ValueEnum)]
#[serde(rename_all = "lowercase")]
pub enum Notation {
    #[default]
    Iso3950,
    Universal,
    Palmer,
}

/// How likely a heard word must be wrong before its number is doubted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ValueEnum)]
#[serde(rename_all = "lowercase")]
pub enum Strictness {
    /// Fewer doubts
    Relaxed,
    #[default]
    Usual,
    /// More doubts
    Strict,
}

impl Strictness {
    /// The least probability of being wrong that is doubted, as it was fitted with the doubts themselves.
    pub fn doubt_from(self) -> f32 {
        crate::listen::calibration::doubt_from(match self {
            Self::Relaxed => "relaxed",
            Self::Usual => "usual",
            Self::Strict => "strict",
        })
    }
}

/// A place in a settings file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    pub file: PathBuf,
    pub line: usize,
}

/// Where settings are sought, the farthest first: the user's own folder, the working folder.
pub fn places() -> Vec<PathBuf> {
    use etcetera::BaseStrategy as _;
    let own = etcetera::choose_base_strategy().ok().map(|base| base.config_dir().join("tugback").join(FILE));
    own.into_iter().chain([PathBuf::from(FILE)]).collect()
}

impl Settings {
    /// The settings of these files, the farthest first; a file that is not there is passed over. `rules` are the ids
    /// that `checks.off` may name.
    pub fn find(places: &[PathBuf], rules: &[String]) -> Result<Self, SettingsError> {
        let mut settings = Self::default();
        for path in places.iter().filter(|p| p.exists()) {
            settings.add(Self::read(path, rules)?);
        }
        Ok(settings)
    }

    /// The settings of this file alone.
    pub fn read(path: &Path, rules: &[String]) -> Result<Self, SettingsError> {
        let bytes =
            std::fs::read(path).map_err(|source| SettingsError::Read { path: path.to_owned(), source })?;
        let text = str::from_utf8(&bytes)
            .map_err(|e| SettingsError::NotText { path: path.to_owned(), at: e.valid_up_to() + 1 })?;
        Self::parse(text, path, rules)
    }

    /// The settings of this text; `path` is named in errors, and a relative model counts from its folder.
    pub fn parse(text: &str, path: &Path, rules: &[String]) -> Result<Self, SettingsError> {
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        let mut settings: Self = toml::from_str(text).map_err(|e| wrong::plain(path, text, &e))?;
        let keys = valid::Keys::of(text);
        if let Some((place, what)) = valid::too_fine(text).or_else(|| valid::first_wrong(&settings, rules)) {
            return Err(wrong::at(path, keys.line(&place), &what));
        }
        settings.origins = keys.origins(path);
        settings.model = settings.model.map(|model| beside(path, &model));
        Ok(settings)
    }

    /// A practice's own instruments.
    pub fn instruments(&self) -> &[Instrument] {
        &self.instrument
    }

    /// A practice's own phrases.
    pub fn phrases(&self) -> &[Phrase] {
        &self.phrase
    }

    /// Where a key was set: `notation`, `checks.gap_s`, `instrument.slim-shaper`. Nothing: it is the default.
    pub fn origin(&self, key: &str) -> Option<&Origin> {
        self.origins.get(key)
    }

    /// Adds the settings of a nearer file: what it names counts.
    fn add(&mut self, near: Self) {
        let named = |key: &str| near.origins.contains_key(key);
        if named("notation") {
            self.notation = near.notation;
        }
        if named("strictness") {
            self.strictness = near.strictness;
        }
        if named("model") {
            self.model.clone_from(&near.model);
        }
        self.record.add(near.record.clone(), named);
        self.checks = merged(&self.checks, &near.checks, |key| named(&format!("checks.{key}")));
        self.instrument.retain(|far| near.instrument.iter().all(|i| i.name != far.name));
        self.instrument.extend(near.instrument);
        self.phrase.retain(|far| near.phrase.iter().all(|p| p.said.iter().all(|s| !far.said.contains(s))));
        self.phrase.extend(near.phrase);
        self.origins.extend(near.origins);
    }
}

/// The windows of the farther file with those keys of the nearer one that it names.
fn merged(far: &Windows, near: &Windows, named: impl Fn(&str) -> bool) -> Windows {
    let (Ok(mut all), Ok(near)) = (toml::Table::try_from(far), toml::Table::try_from(near)) else {
        return far.clone();
    };
    all.extend(near.into_iter().filter(|(key, _)| named(key)));
    all.try_into().unwrap_or_else(|_| far.clone())
}

/// A path of a settings file as a path of the working folder; `~/` is the home folder.
fn beside(file: &Path, named: &Path) -> PathBuf {
    if let (Ok(rest), Ok(home)) = (named.strip_prefix("~"), etcetera::home_dir()) {
        return home.join(rest);
    }
    file.parent().map_or_else(|| named.to_owned(), |folder| folder.join(named))
}

#[cfg(test)]
mod tests;
