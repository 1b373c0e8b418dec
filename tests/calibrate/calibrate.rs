//! Fits the table of doubts (`src/listen/calibration.tsv`) on recordings whose words are known.
//!
//!   calibrate listen NAME AUDIO TEXTS [--model FILE] [--only PART] > signals.tsv
//!       hears every recording in the folder AUDIO that has a `<id>.times.json` (`[[from_s, to_s], …]`, one pair a
//!       breath) and a `<id>.toml` in the folder TEXTS (`[[say]]` tables with a `text`); one line a heard word.
//!       NAME is `tuned` or `stock`. Breaths written in digits are left out: how they were spoken is not known.
//!   calibrate fit SIGNALS… > src/listen/calibration.tsv
//!       one table of all signals, and from which probability each strictness doubts.
//!   calibrate reliability SIGNALS… > docs/reliability.md
//!       how often words were wrong by how likely wrong they were called, each half of the sessions judged by a table
//!       that was fitted on the other half.

#![expect(clippy::print_stdout, reason = "a tool: its results go to standard output")]

mod fit;

use std::{error::Error, fs, path::Path};

use tugback::{
    audio,
    listen::{
        Second, Settings,
        calibration::{SpanSignals, errors, listen_for_signals},
        model,
    },
};

type Outcome = Result<(), Box<dyn Error>>;

fn main() -> Outcome {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    match args.as_slice() {
        ["listen", name, audio, texts, options @ ..] => {
            listen(name, Path::new(audio), Path::new(texts), options)
        }
        ["fit", signals @ ..] if !signals.is_empty() => {
            fit::table(&fit::read(signals)?);
            Ok(())
        }
        ["reliability", signals @ ..] if !signals.is_empty() => {
            fit::reliability(&fit::read(signals)?);
            Ok(())
        }
        _ => Err("calibrate listen NAME AUDIO TEXTS [--model FILE] [--only PART] [--once] | \
                  calibrate fit SIGNALS… | calibrate reliability SIGNALS…"
            .into()),
    }
}

#[derive(serde::Deserialize)]
struct Session {
    say: Vec<Say>,
}

#[derive(serde::Deserialize)]
struct Say {
    text: String,
}

fn option<'a>(options: &[&'a str], name: &str) -> Option<&'a str> {
    options.iter().position(|o| *o == name).and_then(|at| options.get(at + 1)).copied()
}

fn listen(name: &str, audio_folder: &Path, texts: &Path, options: &[&str]) -> Outcome {
    let found = model::find_models(option(options, "--model").map(Path::new), None)?;
    let mut settings: Settings = found.into();
    if options.contains(&"--once") {
        settings.second = Second::Off;
    }
    let mut files: Vec<_> = fs::read_dir(audio_folder)?.filter_map(|e| e.ok().map(|e| e.path())).collect();
    files.sort();
    for file in files {
        let Some(id) = file.file_stem().and_then(|s| s.to_str()) else { continue };
        let times = file.with_extension("times.json");
        if file.extension().is_some_and(|e| e == "json") || !times.exists() {
            continue;
        }
        if option(options, "--only").is_some_and(|part| !id.contains(part)) {
            continue;
        }
        let times: Vec<(f64, f64)> = serde_json::from_str(&fs::read_to_string(times)?)?;
        let session: Session = toml::from_str(&fs::read_to_string(texts.join(format!("{id}.toml")))?)?;
        let mut recording = audio::open(&file, &audio::Options::default())?;
        listen_for_signals(&mut recording, &settings, &mut |span| {
            let said: Vec<&str> = times
                .iter()
                .zip(&session.say)
                .filter(|((from_s, to_s), _)| *from_s < span.to_s && *to_s > span.from_s)
                .map(|(_, say)| say.text.as_str())
                .collect();
            let said = said.join(" ");
            if !said.contains(|c: char| c.is_ascii_digit()) {
                lines(name, id, &span, &said);
            }
        })?;
        eprintln!("{id}");
    }
    Ok(())
}

fn lines(name: &str, id: &str, span: &SpanSignals, said: &str) {
    let heard: Vec<String> = span.words.iter().map(|(word, _)| word.clone()).collect();
    for ((word, signal), error) in span.words.iter().zip(errors(said, &heard)) {
        let wrong = u8::from(error.is_some());
        let instead = error.unwrap_or_default();
        println!(
            "{name}\t{signal}\t{:.3}\t{wrong}\t{id}\t{:.2}\t{word}\t{instead}",
            signal.score, span.from_s
        );
    }
}
