//! The log while it grows: spoken to by a script, and by a recording played into the recorder.

use std::{
    path::Path,
    sync::{Arc, atomic::AtomicBool, mpsc},
    thread,
    time::Duration,
};

use tugback::{
    audio::Samples,
    entries::{Extractor, Settings},
    listen::{Error, Turn, heard::Breath},
    record::{
        capture::Format,
        fake::{Fake, Step},
        live::{Change, Live},
        marks::Marks,
        recorder::{Order, Plan},
        session::{Happening, Key, Listening, Sitting, sit},
    },
    settings::ReadBack,
};

pub(crate) const MONO: Format = Format { rate_hz: 16_000, channels: 1, bits: 16 };

/// Hears fixed breaths when so much sound has come: `(end in seconds, words)`.
fn script(lines: &[(f64, &str)]) -> Box<Listening> {
    let lines: Vec<(f64, String)> = lines.iter().map(|(s, w)| (*s, (*w).to_owned())).collect();
    Box::new(
        move |samples: &mut dyn Samples,
              _: Arc<AtomicBool>,
              sink: &mut (dyn FnMut(Turn) + Send)|
              -> Result<(), Error> {
            let (mut n, mut due) = (0, lines.iter());
            let mut next = due.next();
            while let Some(block) = samples.next_block()? {
                n += block.len();
                while let Some((at_s, words)) = next.filter(|(at_s, _)| n as f64 / 16_000.0 >= *at_s) {
                    sink(Turn::First(Breath::from_text(at_s - 0.5, *at_s, words)));
                    next = due.next();
                }
            }
            Ok(())
        },
    )
}

/// Sits through a minute at ten times its pace, unless it is ended; gives what happened as words.
fn sitting(listening: &Listening, presses: &[(u64, Key)]) -> (Sitting, Vec<String>) {
    let folder = tempfile::tempdir().unwrap();
    sitting_with(&plan(folder.path()), listening, presses)
}

fn plan(folder: &Path) -> Plan {
    Plan { least_s: 0.0, warn_s: 0.0, ..Plan::new(folder.join("visit.wav")) }
}

fn sitting_with(plan: &Plan, listening: &Listening, presses: &[(u64, Key)]) -> (Sitting, Vec<String>) {
    let sound: Vec<f32> = (0..16_000 * 60).map(|n| ((n % 100) as f32 + 1.0) / 200.0).collect();
    // Where it begins paused it is opened once before, for its format.
    let opened_before = plan.begin_paused.then_some(Step::End);
    let mut fake = Fake::new(MONO, 10.0, opened_before.into_iter().chain([Step::Play(sound.into())]));
    let (order, orders) = mpsc::channel();
    let (press, keys) = mpsc::channel();
    let presses = presses.to_vec();
    let end = order.clone();
    let person = thread::spawn(move || {
        let mut at = 0;
        for (ms, key) in presses {
            thread::sleep(Duration::from_millis(ms - at));
            at = ms;
            let _ = press.send(key);
        }
        thread::sleep(Duration::from_millis(3000 - at));
        let _ = end.send(Order::Stop);
    });
    let mut words = Vec::new();
    let live = Live::new(Extractor::new(Settings::default()));
    let sat = sit(&mut fake, plan, listening, live, (order, orders), &keys, &mut |what, _| match what {
        Happening::Change(Change::Taken(e)) => words.push(format!("taken {}", e.kind)),
        Happening::Change(Change::Doubted(e)) => words.push(format!("doubt {}", e.kind)),
        Happening::Change(Change::Struck(e)) => words.push(format!("struck {}", e.kind)),
        Happening::Change(Change::Changed(e)) => words.push(format!("changed {}", e.kind)),
        Happening::AskedToEnd => words.push("asked".to_owned()),
        Happening::TimeIsUp => words.push("time is up".to_owned()),
        Happening::Say(said) => words.push(format!("say {}", said.join(" "))),
        Happening::Spoken(s) => words.push(format!("{s:?}")),
        _ => {}
    });
    person.join().unwrap();
    (sat.unwrap(), words)
}

#[test]
fn entries_come_while_it_is_spoken() {
    let lines = [
        (2.0, "tooth three six"),
        (4.0, "mesiobuccal, working length twenty one"),
        (6.0, "irrigate with three mils of hypochlorite"),
        (8.0, "scratch that"),
        (9.0, "read back the working lengths"),
    ];
    let (sat, words) = sitting(&script(&lines), &[]);
    let expect =
        ["taken tooth", "taken working-length", "taken irrigation", "struck irrigation", "ReadLengths"];
    assert_eq!(words, expect);
    assert_eq!(sat.live.entries.len(), 3);
}

/// The log is ended by voice when it is asked for twice, and never from inside of a sentence.
#[test]
fn ended_by_voice() {
    let lines =
        [(1.0, "Stop."), (2.0, "rubber stop at twenty one"), (3.0, "End of log."), (5.0, "end of log")];
    let (sat, words) = sitting(&script(&lines), &[]);
    assert_eq!(words.iter().filter(|w| *w == "asked").count(), 1);
    let seconds = sat.recorded.parts[0].1;
    assert!((5.0..12.0).contains(&seconds), "ended at {seconds} s");
    let lines = [(1.0, "Stop."), (2.0, "at the end of log rolling we stop"), (3.0, "End of log.")];
    let (sat, _) = sitting(&script(&lines), &[]);
    assert!(sat.recorded.parts[0].1 > 20.0, "asked for once only");
}

#[test]
fn keys_strike_and_flag() {
    let lines = [(2.0, "tooth three six"), (4.0, "mesiobuccal, working length twenty one")];
    let (sat, words) = sitting(&script(&lines), &[(1000, Key::Flag), (1300, Key::Strike)]);
    assert_eq!(
        words,
        ["taken tooth", "taken working-length", "doubt working-length", "struck working-length"]
    );
    let pressed: Vec<String> = sat.pressed.iter().map(Breath::text).collect();
    assert_eq!(pressed, ["flag that", "scratch that"]);
}

/// What is timed is over when it is over, counted from when it was said.
#[test]
fn a_timer_asked_for_by_voice() {
    let lines = [(5.0, "time one second"), (20.0, "time one minute"), (25.0, "stop the timer")];
    let (_, words) = sitting(&script(&lines), &[]);
    assert_eq!(words, ["Time(1)", "time is up", "Time(60)", "TimeOff"]);
}

/// A breath that is heard again is not carried out again, and changes what it said first.
#[test]
fn heard_again() {
    let listening: Box<Listening> = Box::new(|samples, _, sink| {
        let said = |to_s: f64, words: &str| Breath::from_text(to_s - 1.0, to_s, words);
        sink(Turn::First(said(2.0, "tooth three six")));
        sink(Turn::First(said(4.0, "mesiobuccal, working length twenty one")));
        sink(Turn::First(said(6.0, "end of log")));
        sink(Turn::Again(said(6.0, "end of log")));
        sink(Turn::Again(said(4.0, "mesiobuccal, working length twenty two")));
        while samples.next_block()?.is_some() {}
        Ok(())
    });
    let (sat, words) = sitting(&listening, &[]);
    assert_eq!(words, ["taken tooth", "taken working-length", "asked", "changed working-length"]);
    assert!(sat.recorded.parts[0].1 > 20.0, "asked for once, heard twice");
}

/// Numbers are read aloud, and what the microphone hears of that is no entry, now or when the recording is listened to.
#[test]
fn read_aloud() {
    let lines = [
        (2.0, "tooth three six"),
        // Begun after "three six" was read aloud, and its echo.
        (5.0, "mesiobuccal, working length twenty one point five"),
        // Our own voice, from the loudspeaker.
        (7.0, "MB length two one point five"),
        (16.0, "read back"),
        (28.0, "distal, working length twenty"),
    ];
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan { read_back: ReadBack::Always, ..plan(folder.path()) };
    let (sat, words) = sitting_with(&plan, &script(&lines), &[]);
    let expect = [
        "taken tooth",
        "say three six",
        "taken working-length",
        "say MB length two one point five",
        "ReadBack",
        "say MB length two one point five",
        "taken working-length",
        "say D length two zero",
    ];
    assert_eq!(words, expect);
    let marks = Marks::read(&sat.recorded.parts[0].0).unwrap();
    let heard: Vec<Breath> =
        lines.iter().map(|(at_s, words)| Breath::from_text(at_s - 0.5, *at_s, words)).collect();
    let (theirs, own) = marks.apply(heard);
    assert_eq!((theirs.len(), own.len()), (4, 1), "{own:?}");
    assert_eq!(own[0].said, "MB length two one point five");
}

/// What cannot be heard in the recording lies beside it, as soon as it happened.
#[test]
fn keys_and_pauses_are_written_down() {
    let folder = tempfile::tempdir().unwrap();
    let lines = [(2.0, "tooth three six"), (4.0, "mesiobuccal, working length twenty one")];
    let presses = [(1000, Key::Strike), (1300, Key::Pause), (1900, Key::GoOn)];
    let (sat, _) = sitting_with(&plan(folder.path()), &script(&lines), &presses);
    let marks = Marks::read(&sat.recorded.parts[0].0).unwrap();
    assert!(marks.gaps()[0].contains("paused for"), "{marks:?}");
    let heard = lines.map(|(at_s, words)| Breath::from_text(at_s - 0.5, at_s, words)).to_vec();
    let (breaths, _) = marks.apply(heard);
    assert_eq!(breaths.last().map(Breath::text).as_deref(), Some("scratch that"));
    let again = Extractor::new(Settings::default()).extract(&breaths).entries;
    assert_eq!(again, sat.live.entries, "the same log, from the recording and what lies beside it");
}

/// Push to talk: nothing is recorded until somebody asks for it.
#[test]
fn begun_with_the_microphone_closed() {
    let folder = tempfile::tempdir().unwrap();
    let plan = Plan { begin_paused: true, ..plan(folder.path()) };
    let presses = [(1000, Key::GoOn), (1500, Key::Pause)];
    let (sat, words) = sitting_with(&plan, &script(&[(2.0, "tooth three six")]), &presses);
    assert_eq!(words, ["taken tooth"]);
    let seconds = sat.recorded.parts[0].1;
    assert!((3.0..8.0).contains(&seconds), "half a second at ten times the pace, and a seam: {seconds}");
    assert_eq!(sat.recorded.gaps.len(), 2, "{:?}", sat.recorded.gaps);
}

/// A listener that fails ends no recording.
#[test]
fn the_recording_outlives_the_listener() {
    let broken: Box<Listening> = Box::new(|_, _, _| Err(Error::NoRecogniser));
    let (sat, _) = sitting(&broken, &[]);
    assert!(sat.recorded.parts[0].1 > 20.0 && sat.recorded.stopped.is_none());
}

/// With the speech models.
#[cfg(feature = "whisper")]
mod heard {
    use std::sync::Mutex;

    use super::*;
    use tugback::{
        audio,
        listen::{self, model},
        log::Entry,
        record::{session::with_models, voice::Voice},
    };

    fn models() -> Option<listen::Settings> {
        let found = model::find_models(None, None);
        if found.is_err() {
            println!("left out: no speech model is here");
        }
        found.ok().map(Into::into)
    }

    fn read(path: &Path) -> Vec<f32> {
        let mut recording = audio::open(path, &audio::Options::default()).unwrap();
        let mut all = Vec::new();
        while let Some(block) = recording.next_block().unwrap() {
            all.extend(block);
        }
        all
    }

    /// Plays samples into a sitting; gives it, how late each breath was, and the most that ever waited.
    fn play(samples: Vec<f32>, speed: f64, folder: &Path) -> (Sitting, Vec<f64>, f64) {
        let settings = models().unwrap();
        let mut fake = Fake::new(MONO, speed, [Step::Play(samples.into())]);
        let over = Arc::clone(&fake.over);
        let (order, orders) = mpsc::channel();
        let end = order.clone();
        thread::spawn(move || {
            while !over.load(std::sync::atomic::Ordering::Relaxed) {
                thread::sleep(Duration::from_millis(20));
            }
            let _ = end.send(Order::Stop);
        });
        let (_press, keys) = mpsc::channel();
        let plan = Plan { least_s: 0.0, warn_s: 0.0, ..Plan::new(folder.join("visit.wav")) };
        let live = Live::new(Extractor::new(Settings::default()));
        let late = Mutex::new((Vec::new(), 0.0_f64));
        let listening = with_models(settings);
        let sat =
            sit(&mut fake, &plan, listening.as_ref(), live, (order, orders), &keys, &mut |what, now| {
                let mut late = late.lock().unwrap();
                late.1 = late.1.max(now.behind_s);
                if let Happening::Heard { late_s, again: false, .. } = what {
                    late.0.push(late_s);
                }
            });
        let (late, most) = late.into_inner().unwrap();
        (sat.unwrap(), late, most)
    }

    /// What of an entry must be the same whether it was heard live or in the file.
    fn key(e: &Entry) -> String {
        format!("{} {:?} {:?} {:?}", e.kind, e.tooth, e.canal, e.values)
    }

    /// The recording is the sound that was played, to the sample, so its log is that of the file that was played; and the
    /// log that grew agrees with it.
    #[test]
    fn a_treatment_played_into_it() {
        let Some(settings) = models() else { return };
        let folder = tempfile::tempdir().unwrap();
        let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-samples/incisor.flac");
        let sound = read(&sample)[16_000 * 26..16_000 * 72].to_vec();
        let (sat, mut late, most) = play(sound.clone(), 1.0, folder.path());
        late.sort_by(f64::total_cmp);
        println!("{} breaths, late by {late:.1?} s; at most {most:.1} s waited", late.len());
        let recorded = &sat.recorded.parts[0].0;
        assert_eq!(read(recorded), sound, "the recording is the same sound");
        let mut file = audio::open(recorded, &audio::Options::default()).unwrap();
        let heard = listen::listen(&mut file, &settings, &|_| {}).unwrap();
        let whole = Extractor::new(Settings::default()).extract(&heard.breaths).entries;
        let (grown, whole): (Vec<_>, Vec<_>) =
            (sat.live.entries.iter().map(key).collect(), whole.iter().map(key).collect());
        let same = grown.iter().filter(|g| whole.contains(g)).count();
        println!("{same} of {} entries grew as they stand in the log", whole.len());
        assert!(whole.len() > 5 && same * 10 >= whole.len() * 9, "{grown:#?}\n{whole:#?}");
        assert!(most < 60.0, "{most} s waited");
    }

    /// Numbers that are read aloud are understood by one who does not know them: our own recogniser.
    #[test]
    fn numbers_that_are_read_aloud_are_understood() {
        let Some(settings) = models() else { return };
        let all: [(&str, &str); 8] = [
            ("MB length two one point five", "21.5"),
            ("D length one nine", "19"),
            ("P length two three point zero five", "23.05"),
            ("size two five taper zero point zero six", "250.06"),
            ("size four zero taper zero point zero four", "400.04"),
            ("three millilitres five point two five percent", "35.25"),
            ("size eight zero", "80"),
            ("one seven percent six zero seconds doubt", "1760"),
        ];
        let folder = tempfile::tempdir().unwrap();
        for (words, expect) in all {
            let text = hear_read_aloud(words, &settings, &folder.path().join("said.wav"));
            let digit = |word: &str| {
                let at = DIGITS.iter().position(|name| *name == word)?;
                "0123456789.".chars().nth(at)
            };
            let found: String = text.split(|c: char| !c.is_alphabetic()).filter_map(digit).collect();
            assert_eq!(found, expect, "said: {words}, heard: {text}");
        }
    }

    const DIGITS: [&str; 11] =
        ["zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "point"];

    /// What the recogniser hears where these words are read aloud in a silent room.
    fn hear_read_aloud(words: &str, settings: &listen::Settings, path: &Path) -> String {
        let said = Voice::load().unwrap().say(&words.split(' ').collect::<Vec<_>>());
        let silence = || std::iter::repeat_n(0.0, 8000);
        let spec = hound::WavSpec {
            channels: 1,
            sample_rate: 16_000,
            bits_per_sample: 16,
            sample_format: hound::SampleFormat::Int,
        };
        let mut file = hound::WavWriter::create(path, spec).unwrap();
        for sample in silence().chain(said).chain(silence()) {
            file.write_sample((sample * 32_767.0) as i16).unwrap();
        }
        file.finalize().unwrap();
        let mut file = audio::open(path, &audio::Options::default()).unwrap();
        let heard = listen::listen(&mut file, settings, &|_| {}).unwrap();
        heard.breaths.iter().map(Breath::text).collect::<Vec<_>>().join(" ").to_lowercase()
    }

    /// Silence makes no words, live either.
    #[test]
    fn silence_is_not_transcribed() {
        if models().is_none() {
            return;
        }
        let folder = tempfile::tempdir().unwrap();
        let mut samples = vec![0.0; 16_000 * 20];
        samples.extend((0..16_000 * 20_i64).map(|n| ((n * 7919 % 65_521) as f32 / 65_521.0 - 0.5) * 0.002));
        let (sat, late, _) = play(samples, 10.0, folder.path());
        assert_eq!((sat.live.entries.len(), late.len()), (0, 0));
    }

    /// The first word of a recording is in it: nothing is cut off while the detector makes up its mind.
    #[test]
    fn the_first_words_are_kept() {
        if models().is_none() {
            return;
        }
        let folder = tempfile::tempdir().unwrap();
        let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-samples/incisor.flac");
        let all = read(&sample);
        let loud = all.iter().position(|s| s.abs() > 0.02).unwrap();
        let first = all[loud..loud + 16_000 * 8].to_vec();
        let (sat, late, _) = play(first.clone(), 2.0, folder.path());
        assert!(!late.is_empty());
        let recorded = read(&sat.recorded.parts[0].0);
        let same = recorded.iter().zip(&first).take(16_000).all(|(a, b)| (a - b).abs() < 1e-4);
        assert!(same, "the recording begins with the first sample");
    }
}
