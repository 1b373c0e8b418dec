//! `tugback inspect`: what is in a recording, what would be listened to, and what is wrong with it.

use std::{fmt::Write as _, path::PathBuf};

use clap::Args;
use comfy_table::{CellAlignment, ContentArrangement, Table, presets};
use miette::IntoDiagnostic as _;

use super::{Done, print};
use crate::{
    audio::{self, Report},
    export::escape::plain,
};

/// Shows what is in a recording: tracks, channels, level, how much of it is speech, problems and what they mean
#[derive(Debug, Args)]
pub(super) struct Inspect {
    /// The recording: WAV, FLAC, MP3, Ogg, M4A, MKV …
    input: PathBuf,
    /// As JSON
    #[arg(long)]
    json: bool,
    /// Which sound track to take, from 1 [default: the one with speech]
    #[arg(long, value_name = "N")]
    track: Option<usize>,
}

/// Runs the command.
pub(super) fn run(args: &Inspect) -> miette::Result<Done> {
    let recording = audio::open(&args.input, &audio::Options { track: args.track }).into_diagnostic()?;
    let report = recording.report();
    let file = args.input.file_name().unwrap_or_default().to_string_lossy();
    let text = if args.json { json(&file, report)? } else { table(&plain(&file), report) };
    print(&text)?;
    Ok(Done::Well)
}

/// The report, with what the log keeps elsewhere in its `source`.
fn json(file: &str, report: &Report) -> miette::Result<String> {
    let mut all = serde_json::Map::new();
    all.insert("file".into(), file.into());
    all.insert("sha256".into(), report.sha256.clone().into());
    if let Some(start) = &report.recording_start {
        all.insert("recording_start".into(), start.clone().into());
    }
    if let serde_json::Value::Object(rest) = serde_json::to_value(report).into_diagnostic()? {
        all.extend(rest);
    }
    all.insert("repairs".into(), report.repairs.clone().into());
    all.insert("warnings".into(), report.warnings.clone().into());
    Ok(serde_json::to_string_pretty(&all).into_diagnostic()? + "\n")
}

fn table(file: &str, report: &Report) -> String {
    let mut text = String::new();
    let mut line = |name: &str, value: &str| {
        // Writing into a string cannot fail.
        let _ = writeln!(text, "{name:<11}{value}");
    };
    line("file", file);
    line("kind", &format!("{}, {}", report.container, report.codec));
    line(
        "sound",
        &format!(
            "{} Hz, {} channel{}, {}",
            report.rate_hz,
            report.channels,
            if report.channels == 1 { "" } else { "s" },
            length(report.decoded_s)
        ),
    );
    if let Some(start) = &report.recording_start {
        line("recorded", start);
    }
    line("track", &format!("{} of {}: {}", report.track, report.tracks.len(), report.track_why));
    line("channel", &report.channel);
    for verdict in &report.verdict {
        line("level", verdict);
    }
    if report.gain_db != 0.0 {
        line(
            "",
            &format!("the listener's copy is changed by {:+} dB; the file stays as it is", report.gain_db),
        );
    }
    for warning in &report.warnings {
        line("warning", warning);
    }
    for repair in &report.repairs {
        line("repair", repair);
    }
    line("sha-256", &report.sha256);
    text.push('\n');
    text + &levels(report) + "\n"
}

/// One row a channel. Levels are in dB below full scale.
fn levels(report: &Report) -> String {
    let mut table = Table::new();
    table.load_style(presets::UTF8_HORIZONTAL_ONLY).set_content_arrangement(ContentArrangement::Disabled);
    table.set_header([
        "track", "codec", "rate", "length", "channel", "peak", "speech", "floor", "speaks", "verdict",
    ]);
    for track in &report.tracks {
        let head = [
            format!("{}{}", track.track, if track.track == report.track { " *" } else { "" }),
            match &track.name {
                Some(name) => format!("{} ({})", track.codec, plain(name)),
                None => track.codec.clone(),
            },
            track.rate_hz.map(|rate| rate.to_string()).unwrap_or_default(),
            length(track.decoded_s),
        ];
        if track.channels.is_empty() {
            let why = if track.readable { "nothing in it could be decoded" } else { "no decoder for it" };
            let rest =
                [String::new(), String::new(), String::new(), String::new(), String::new(), why.into()];
            table.add_row(head.into_iter().chain(rest));
        } else {
            for (n, channel) in track.channels.iter().enumerate() {
                let head = if n == 0 { head.clone() } else { Default::default() };
                let level = &channel.level;
                let verdict: Vec<String> = level
                    .verdict
                    .iter()
                    .map(|v| v.to_string().split(':').next().unwrap_or_default().to_owned())
                    .collect();
                let rest = [
                    channel.place.clone(),
                    format!("{:.1}", level.peak_dbfs),
                    level.speech_dbfs.map(|db| format!("{db:.1}")).unwrap_or_default(),
                    format!("{:.1}", level.floor_dbfs),
                    format!("{:.0} %", level.speech_share * 100.0),
                    verdict.join(", "),
                ];
                table.add_row(head.into_iter().chain(rest));
            }
        }
    }
    for right in [2, 3, 5, 6, 7, 8] {
        if let Some(column) = table.column_mut(right) {
            column.set_cell_alignment(CellAlignment::Right);
        }
    }
    table.to_string()
}

/// Seconds as h:mm:ss.s.
fn length(seconds: f64) -> String {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a length, never negative")]
    let tenths = (seconds * 10.0).round().max(0.0) as u64;
    format!("{}:{:02}:{:02}.{}", tenths / 36_000, tenths / 600 % 60, tenths / 10 % 60, tenths % 10)
}
