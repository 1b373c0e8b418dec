//! Fits the table of doubts (`src/listen/calibration.tsv`) on recordings whose words are known.
//!
//!   calibrate listen NAME AUDIO TEXTS [--model FILE] [--only PART] > signals.tsv
//!       hears every recording in the folder AUDIO that has a `<id>.times.json` (`[[from_s, to_s], …]`, one pair a
//!       breath) and a `<id>.toml` in the folder TEXTS (`[[say]]` tables with a `text`); one line a heard word.
//!       NAME is `tuned` or `stock`. Breaths written in digits are left out: how they were spoken is not known.
//!   calibrate fit SIGNALS… > src/listen/calibration.tsv
//!       one table of all signals; a reliability table goes to standard error.

#![expect(clippy::print_stdout, reason = "a tool: its results go to standard output")]

use std::{collections::BTreeMap, error::Error, fs, path::Path};

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
        ["listen", name, audio, texts, options @ ..] => listen(name, Path::new(audio), Path::new(texts), options),
        ["fit", signals @ ..] if !signals.is_empty() => fit(signals),
        _ => Err("calibrate listen NAME AUDIO TEXTS [--model FILE] [--only PART] [--once] | calibrate fit SIGNALS…".into()),
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

/// Lower ends of the classes of scores from which the table is fitted.
const EDGES: [f32; 13] = [0.0, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.93, 0.95, 0.97];

/// One row of the table while it is fitted.
#[derive(Clone, Copy)]
struct Row {
    from: f32,
    words: u32,
    wrong: u32,
}

impl Row {
    /// Half an error is added, so that what was never seen wrong is not called impossible.
    fn p(self) -> f64 {
        (f64::from(self.wrong) + 0.5) / (f64::from(self.words) + 1.0)
    }
}

fn fit(signals: &[&str]) -> Outcome {
    let mut groups: BTreeMap<(String, String), Vec<(f32, bool)>> = BTreeMap::new();
    for file in signals {
        for line in fs::read_to_string(file)?.lines() {
            let mut fields = line.split('\t');
            let (Some(model), Some(group), Some(score), Some(wrong)) =
                (fields.next(), fields.next(), fields.next(), fields.next())
            else {
                return Err(format!("`{file}` has a line that is no signal: {line}").into());
            };
            groups.entry((model.into(), group.into())).or_default().push((score.parse()?, wrong == "1"));
        }
    }
    println!(
        "# How often a heard word was wrong, by model, sort of word, what the second listening said, and score."
    );
    println!("# Fitted by tests/calibrate on the development audio (`make calibrate`); do not edit by hand.");
    println!("# model\tgroup\tscore_from\twords\twrong\tp_wrong");
    for ((model, group), words) in groups {
        for row in pooled(&words) {
            println!("{model}\t{group}\t{:.2}\t{}\t{}\t{:.4}", row.from, row.words, row.wrong, row.p());
        }
    }
    Ok(())
}

/// Classes of scores, joined until a surer word is nowhere likelier wrong (pool adjacent violators).
fn pooled(words: &[(f32, bool)]) -> Vec<Row> {
    let mut rows: Vec<Row> = Vec::new();
    for (i, from) in EDGES.iter().enumerate() {
        let end = EDGES.get(i + 1).copied().unwrap_or(f32::INFINITY);
        let here = words.iter().filter(|(score, _)| (*from..end).contains(score));
        let (count, wrong) = here.fold((0, 0), |(n, w), (_, wrong)| (n + 1, w + u32::from(*wrong)));
        if count == 0 {
            continue;
        }
        rows.push(Row { from: *from, words: count, wrong });
        while let [.., a, b] = rows.as_slice()
            && (a.p() < b.p() || a.words < 8)
        {
            let joined = Row { from: a.from, words: a.words + b.words, wrong: a.wrong + b.wrong };
            rows.truncate(rows.len() - 2);
            rows.push(joined);
        }
    }
    if let Some(first) = rows.first_mut() {
        first.from = 0.0;
    }
    rows
}
