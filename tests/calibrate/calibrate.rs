//! Fits the table of doubts (`src/listen/calibration.tsv`) on recordings whose words are known.
//!
//!   calibrate tape OUT RECORDING… [--model FILE] [--second FILE] [--threads N]
//!       hears every recording in every way and keeps each listening: one file OUT/<id>.tape, a line a span. What is
//!       there already is left alone. This takes long, the rest does not.
//!   calibrate signals NAME TAPES TIMES TEXTS > signals.tsv
//!       one line a heard word of every tape in the folder TAPES. TIMES holds a `<id>.times.json` (`[[from_s, to_s], …]`,
//!       one pair a breath), TEXTS a `<id>.toml` (`[[say]]` tables with a `text`). NAME is `tuned` or `stock`. Digits
//!       count as they are read aloud ("25" as twenty five); who says them otherwise writes them in words.
//!   calibrate fit SIGNALS… > src/listen/calibration.tsv
//!       one table of all signals, and from which probability each strictness doubts.
//!   calibrate reliability SIGNALS… > docs/reliability.md
//!       how often words were wrong by how likely wrong they were called, each half of the sessions judged by a table
//!       that was fitted on the other half.
//!   calibrate breaths TAPES OUT [TABLE]
//!       what listening makes of the tapes, by this table of doubts: a JSON list of breaths a recording.
//!   calibrate logs BREATHS TEXTS OUT [DOUBT_FROM]
//!       what extraction makes of such lists: a log a recording, in the `notation` that its text names.

#![expect(clippy::print_stdout, reason = "a tool: its results go to standard output")]

mod fit;

use std::{error::Error, fs, path::Path};

use tugback::{
    audio,
    entries::{self, Extractor, Notation},
    listen::{
        Second, Settings,
        calibration::{self, Table, errors, read_aloud},
        heard::Breath,
        model,
        tape::{self, Tape},
    },
    log::{MadeBy, Source, file},
};

type Outcome = Result<(), Box<dyn Error>>;
/// A recording's name and its spans.
type Named = (String, Vec<Tape>);

fn main() -> Outcome {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let args: Vec<&str> = args.iter().map(String::as_str).collect();
    match args.as_slice() {
        ["tape", out, rest @ ..] => tape(Path::new(out), rest),
        ["signals", name, tapes, times, texts] => {
            signals(name, Path::new(tapes), Path::new(times), Path::new(texts))
        }
        ["fit", signals @ ..] if !signals.is_empty() => {
            fit::table(&fit::read(signals)?);
            Ok(())
        }
        ["reliability", signals @ ..] if !signals.is_empty() => {
            fit::reliability(&fit::read(signals)?);
            Ok(())
        }
        ["breaths", tapes, out, table @ ..] => {
            breaths(Path::new(tapes), Path::new(out), table.first().unwrap_or(&"src/listen/calibration.tsv"))
        }
        ["logs", breaths, texts, out, from @ ..] => {
            logs(Path::new(breaths), Path::new(texts), Path::new(out), from.first().copied())
        }
        _ => Err("calibrate tape OUT RECORDING… [--model FILE] [--second FILE] [--threads N] | \
                  calibrate signals NAME TAPES TIMES TEXTS | calibrate fit SIGNALS… | \
                  calibrate reliability SIGNALS… | calibrate breaths TAPES OUT [TABLE] | calibrate logs BREATHS TEXTS OUT [DOUBT_FROM]"
            .into()),
    }
}

#[derive(serde::Deserialize)]
struct Session {
    #[serde(default)]
    notation: String,
    say: Vec<Say>,
}

#[derive(serde::Deserialize)]
struct Say {
    text: String,
}

fn option<'a>(options: &[&'a str], name: &str) -> Option<&'a str> {
    options.iter().position(|o| *o == name).and_then(|at| options.get(at + 1)).copied()
}

fn tape(out: &Path, rest: &[&str]) -> Outcome {
    let options = rest.iter().position(|o| o.starts_with("--")).unwrap_or(rest.len());
    let (recordings, options) = rest.split_at(options);
    let found = model::find_models(option(options, "--model").map(Path::new), None)?;
    let mut settings: Settings = found.into();
    if let Some(second) = option(options, "--second") {
        settings.second = Second::Other(second.into());
    }
    settings.workers = option(options, "--threads").map(str::parse).transpose()?;
    fs::create_dir_all(out)?;
    for file in recordings.iter().map(Path::new) {
        let id = file.file_stem().and_then(|s| s.to_str()).ok_or("a recording without a name")?;
        let place = out.join(format!("{id}.tape"));
        if place.exists() {
            continue;
        }
        let mut recording = audio::open(file, &audio::Options::default())?;
        let mut text = String::new();
        let mut failed = None;
        tape::record(&mut recording, &settings, &mut |tape| match serde_json::to_string(&tape) {
            Ok(line) => text.push_str(&(line + "\n")),
            Err(e) => failed = Some(e),
        })?;
        if let Some(e) = failed {
            return Err(e.into());
        }
        fs::write(place, text)?;
        eprintln!("{id}");
    }
    Ok(())
}

/// The tapes in a folder with their recordings' names, by name.
fn tapes(folder: &Path) -> Result<Vec<Named>, Box<dyn Error>> {
    let mut files: Vec<_> = fs::read_dir(folder)?.filter_map(|e| e.ok().map(|e| e.path())).collect();
    files.retain(|file| file.extension().is_some_and(|e| e == "tape"));
    files.sort();
    files
        .iter()
        .map(|file| {
            let id = file.file_stem().and_then(|s| s.to_str()).unwrap_or_default().to_owned();
            let spans =
                fs::read_to_string(file)?.lines().map(serde_json::from_str).collect::<Result<_, _>>()?;
            Ok((id, spans))
        })
        .collect()
}

fn signals(name: &str, folder: &Path, times: &Path, texts: &Path) -> Outcome {
    for (id, spans) in tapes(folder)? {
        let times: Vec<(f64, f64)> =
            serde_json::from_str(&fs::read_to_string(times.join(format!("{id}.times.json")))?)?;
        let session: Session = toml::from_str(&fs::read_to_string(texts.join(format!("{id}.toml")))?)?;
        for span in spans {
            let said: Vec<&str> = times
                .iter()
                .zip(&session.say)
                .filter(|((from_s, to_s), _)| *from_s < span.to_s() && *to_s > span.from_s())
                .map(|(_, say)| say.text.as_str())
                .collect();
            lines(name, &id, &span, &read_aloud(&said.join(" ")));
        }
    }
    Ok(())
}

fn lines(name: &str, id: &str, span: &Tape, said: &str) {
    let words = span.signals();
    let heard: Vec<String> = words.iter().map(|(word, _)| word.clone()).collect();
    for ((word, signal), error) in words.iter().zip(errors(said, &heard)) {
        let wrong = u8::from(error.is_some());
        let instead = error.unwrap_or_default();
        println!(
            "{name}\t{signal}\t{:.3}\t{wrong}\t{id}\t{:.2}\t{word}\t{instead}",
            signal.score,
            span.from_s()
        );
    }
}

fn breaths(folder: &Path, out: &Path, table: &str) -> Outcome {
    let table = Table::of(&fs::read_to_string(table)?, true);
    fs::create_dir_all(out)?;
    for (id, spans) in tapes(folder)? {
        let heard: Vec<Breath> = spans.iter().filter_map(|span| span.breath(&table)).collect();
        fs::write(out.join(format!("{id}.json")), serde_json::to_string_pretty(&heard)?)?;
    }
    Ok(())
}

fn logs(folder: &Path, texts: &Path, out: &Path, from: Option<&str>) -> Outcome {
    let doubt_from = from.map_or_else(|| Ok(calibration::doubt_from("usual")), str::parse)?;
    fs::create_dir_all(out)?;
    let mut files: Vec<_> = fs::read_dir(folder)?.filter_map(|e| e.ok().map(|e| e.path())).collect();
    files.retain(|file| file.extension().is_some_and(|e| e == "json"));
    files.sort();
    for path in files {
        let id = path.file_stem().and_then(|s| s.to_str()).unwrap_or_default();
        let session: Session = toml::from_str(&fs::read_to_string(texts.join(format!("{id}.toml")))?)?;
        let notation = match session.notation.as_str() {
            "universal" => Notation::Universal,
            "palmer" => Notation::Palmer,
            _ => Notation::Iso3950,
        };
        let heard: Vec<Breath> = serde_json::from_str(&fs::read_to_string(&path)?)?;
        let extractor = Extractor::new(entries::Settings { notation, lecture: None, doubt_from });
        let log = tugback::log_of(&heard, &extractor, Source::default(), MadeBy::default());
        fs::write(out.join(format!("{id}.json")), file::to_json(&log)?)?;
    }
    Ok(())
}
