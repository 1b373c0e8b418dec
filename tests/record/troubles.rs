//! What goes wrong with microphones: unplugged, muted, forbidden, slow, lossy, another rate.

use std::{
    path::Path,
    sync::{Arc, atomic::Ordering, mpsc},
    thread,
    time::{Duration, Instant},
};

use tugback::record::{
    capture::{CaptureError, Event, Format},
    fake::{Fake, Step},
    recorder::{Notice, Order, Plan, RecordError, Recorded, Warning, record},
};

const MONO: Format = Format { rate_hz: 16_000, channels: 1, bits: 16 };

fn sound(seconds: f64, format: Format) -> Step {
    let n = (seconds * f64::from(format.rate_hz)) as usize * usize::from(format.channels);
    Step::Play((0..n).map(|n| ((n % 100) as f32 + 1.0) / 200.0).collect::<Vec<_>>().into())
}

/// Each notice as a word or two, without the levels, in their order.
fn words(notices: &[(f64, Notice)]) -> String {
    let words = notices.iter().filter_map(|(_, n)| {
        Some(match n {
            Notice::Level { .. } | Notice::Gap(_) => return None,
            Notice::Part { path, .. } => format!("part {}", path.file_stem()?.display()),
            Notice::Ready { format, .. } => format!("ready {}", format.rate_hz),
            Notice::Paused { at_s } => format!("paused {at_s:.1}"),
            Notice::GoneOn => "on".to_owned(),
            Notice::Warning(Warning::Gone(_)) => "gone".to_owned(),
            Notice::Warning(Warning::Back { .. }) => "back".to_owned(),
            Notice::Warning(Warning::NewFormat(f)) => format!("new {}", f.rate_hz),
            Notice::Warning(w) => format!("{w:?}"),
        })
    });
    words.collect::<Vec<_>>().join(", ")
}

/// Records a script, with orders at times of the clock, until it is over; gives notices with their times, too.
fn run(
    folder: &Path,
    fake: &mut Fake,
    orders: &[(f64, Order)],
    wait_s: f64,
) -> (Result<Recorded, RecordError>, Vec<(f64, Notice)>) {
    let (order, taken) = mpsc::channel();
    let over = Arc::clone(&fake.over);
    let orders = orders.to_vec();
    let start = Instant::now();
    let person = thread::spawn(move || {
        for (at_s, what) in orders {
            thread::sleep(Duration::from_secs_f64(at_s).saturating_sub(start.elapsed()));
            let _ = order.send(what);
        }
        while !over.load(Ordering::Relaxed) && start.elapsed() < Duration::from_secs(30) {
            thread::sleep(Duration::from_millis(5));
        }
        thread::sleep(Duration::from_secs_f64(wait_s));
        let _ = order.send(Order::Stop);
        drop(order);
    });
    let mut notices = Vec::new();
    let plan = Plan { least_s: 0.0, warn_s: 0.0, ..Plan::new(folder.join("visit.wav")) };
    let recorded =
        record(fake, &plan, &taken, None, &mut |n| notices.push((start.elapsed().as_secs_f64(), n)));
    drop(taken);
    person.join().unwrap();
    (recorded, notices)
}

/// The notices of a script that plays at a speed, and the seconds of each part.
#[track_caller]
fn check(speed: f64, steps: Vec<Step>, wait_s: f64, expect: &str, parts_s: &[f64]) -> Vec<(f64, Notice)> {
    let folder = tempfile::tempdir().unwrap();
    let mut fake = Fake::new(MONO, speed, steps);
    let (recorded, notices) = run(folder.path(), &mut fake, &[], wait_s);
    let recorded = recorded.expect("it records");
    assert_eq!(words(&notices), expect);
    let got: Vec<f64> = recorded.parts.iter().map(|(_, s)| (s * 10.0).round() / 10.0).collect();
    assert_eq!(got, parts_s);
    for (path, seconds) in &recorded.parts {
        let there = hound::WavReader::open(path).unwrap();
        let there_s = f64::from(there.duration()) / f64::from(there.spec().sample_rate);
        assert!((there_s - seconds).abs() < 1e-6);
    }
    notices
}

#[test]
fn good_sound() {
    check(10.0, vec![sound(3.0, MONO)], 0.0, "part visit, ready 16000", &[3.0]);
}

/// The stream opens normally and gives exact zeros: it is never ready.
#[test]
fn muted_or_forbidden() {
    check(10.0, vec![Step::Zeros(3.0)], 0.0, "part visit, NoSignal", &[3.0]);
    let steps = vec![sound(20.0, MONO), Step::Zeros(2.0), sound(1.0, MONO)];
    check(40.0, steps, 0.0, "part visit, ready 16000, NoSignal, ready 16000", &[23.0]);
}

/// The callback stops, without an error; it is told within three seconds, and the recording goes on when it is back.
#[test]
fn unplugged_without_a_word() {
    let steps = vec![sound(1.0, MONO), Step::Hang(1.0), Step::End, sound(1.0, MONO)];
    let expect = "part visit, ready 16000, gone, back, ready 16000";
    let notices = check(1.0, steps, 0.2, expect, &[3.0]);
    let at = |word: &str| notices.iter().find(|n| words(std::slice::from_ref(n)) == word).unwrap().0;
    let quiet_s = at("gone") - at("ready 16000");
    assert!(quiet_s < 1.0 + 3.0, "told {quiet_s:.1} s after the first sound, of which one second was sound");
}

#[test]
fn unplugged_with_an_error() {
    let gone = || Step::Tell(Event::Gone("it was pulled out".to_owned()));
    check(10.0, vec![sound(1.0, MONO), gone()], 0.3, "part visit, ready 16000, gone", &[2.0]);
    let away = || Step::Refuse(CaptureError::NoDevice);
    let steps = vec![sound(1.0, MONO), gone(), Step::End, away(), sound(1.0, MONO)];
    check(10.0, steps, 0.2, "part visit, ready 16000, gone, back, ready 16000", &[3.0]);
}

#[test]
fn a_gap_is_written_down() {
    let folder = tempfile::tempdir().unwrap();
    let gone = Step::Tell(Event::Gone("it was pulled out".to_owned()));
    let mut fake = Fake::new(MONO, 10.0, [sound(1.0, MONO), gone, Step::End, sound(1.0, MONO)]);
    let (recorded, _) = run(folder.path(), &mut fake, &[], 0.2);
    let gaps = recorded.unwrap().gaps;
    assert_eq!(gaps.len(), 1);
    assert!((gaps[0].at_s - 2.0).abs() < 0.05 && (gaps[0].lasted_s - 2.0).abs() < 0.5, "{gaps:?}");
}

#[test]
fn another_rate_begins_another_part() {
    let new = Format { rate_hz: 44_100, channels: 2, bits: 24 };
    let steps = vec![sound(1.0, MONO), Step::Tell(Event::Format(new)), sound(2.0, new)];
    check(10.0, steps, 0.0, "part visit, ready 16000, part visit-2, new 44100", &[1.0, 2.0]);
}

/// What a device offers is taken as it is: 192 kHz, eight channels.
#[test]
fn an_odd_format_is_recorded_as_it_comes() {
    let folder = tempfile::tempdir().unwrap();
    let odd = Format { rate_hz: 192_000, channels: 8, bits: 24 };
    let mut fake = Fake::new(odd, 4.0, [sound(1.0, odd)]);
    let (recorded, notices) = run(folder.path(), &mut fake, &[], 0.0);
    assert_eq!(words(&notices), "part visit, ready 192000");
    let spec = hound::WavReader::open(&recorded.unwrap().parts[0].0).unwrap().spec();
    assert_eq!((spec.sample_rate, spec.channels, spec.bits_per_sample), (192_000, 8, 24));
}

/// No device at all is a sentence.
#[test]
fn no_device_is_a_sentence() {
    let folder = tempfile::tempdir().unwrap();
    let mut fake = Fake::new(MONO, 1.0, [Step::Refuse(CaptureError::NoDevice)]);
    let (_order, taken) = mpsc::channel();
    let plan = Plan::new(folder.path().join("visit.wav"));
    let RecordError::Capture(why) = record(&mut fake, &plan, &taken, None, &mut |_| {}).unwrap_err() else {
        panic!("another error");
    };
    assert!(why.to_string().contains("no microphone was found"), "{why}");
}

#[test]
fn an_overrun_is_told() {
    let steps = vec![sound(1.0, MONO), Step::Tell(Event::Overrun), sound(1.0, MONO)];
    check(10.0, steps, 0.0, "part visit, ready 16000, Overrun", &[2.0]);
}

#[test]
fn a_slow_start_is_waited_for() {
    check(1.0, vec![Step::Hang(1.5), sound(0.5, MONO)], 0.0, "part visit, ready 16000", &[0.5]);
}

#[test]
fn refused_leaves_no_file() {
    let folder = tempfile::tempdir().unwrap();
    let refused = CaptureError::Permission { name: "fake microphone".to_owned() };
    let mut fake = Fake::new(MONO, 1.0, [Step::Refuse(refused)]);
    let (order, taken) = mpsc::channel();
    let plan = Plan::new(folder.path().join("visit.wav"));
    let error = record(&mut fake, &plan, &taken, None, &mut |_| {}).unwrap_err();
    drop(order);
    let RecordError::Capture(why) = error else { panic!("{error}") };
    assert!(why.to_string().contains("may not listen"), "{why}");
    assert_eq!(std::fs::read_dir(folder.path()).unwrap().count(), 0);
}

#[test]
fn a_long_recording_is_split() {
    let folder = tempfile::tempdir().unwrap();
    let mut fake = Fake::new(MONO, 20.0, [sound(3.5, MONO)]);
    let (order, taken) = mpsc::channel();
    let over = Arc::clone(&fake.over);
    let person = thread::spawn(move || {
        while !over.load(Ordering::Relaxed) {
            thread::sleep(Duration::from_millis(5));
        }
        drop(order);
    });
    let plan = Plan { most_bytes: 32_000, least_s: 0.0, ..Plan::new(folder.path().join("visit.wav")) };
    let recorded = record(&mut fake, &plan, &taken, None, &mut |_| {}).unwrap();
    person.join().unwrap();
    let names: Vec<String> =
        recorded.parts.iter().map(|(p, _)| p.file_name().unwrap().display().to_string()).collect();
    assert_eq!(names, ["visit.wav", "visit-2.wav", "visit-3.wav", "visit-4.wav"]);
    let total: f64 = recorded.parts.iter().map(|(_, s)| s).sum();
    assert!((total - 3.5).abs() < 1e-6, "nothing is lost between parts: {total}");
}

/// What is said during a pause is nowhere, and the stream is really closed.
#[test]
fn a_pause_closes_the_microphone() {
    let folder = tempfile::tempdir().unwrap();
    let mut fake = Fake::new(MONO, 1.0, [sound(60.0, MONO), Step::End, sound(0.5, MONO)]);
    let open = fake.is_open();
    let seen = thread::spawn(move || {
        thread::sleep(Duration::from_secs(1));
        open.load(Ordering::Relaxed)
    });
    let orders = [(0.55, Order::Pause), (1.5, Order::GoOn)];
    let (recorded, notices) = run(folder.path(), &mut fake, &orders, 0.2);
    assert!(!seen.join().unwrap(), "the stream is open during the pause");
    let told = words(&notices);
    assert!(told.starts_with("part visit, ready 16000, paused 1."), "{told}");
    assert!(told.ends_with("on, ready 16000"), "{told}");
    let recorded = recorded.unwrap();
    let seconds = recorded.parts[0].1;
    assert!((1.8..2.3).contains(&seconds), "half a second, the seam, half a second: {seconds}");
    assert!(recorded.gaps[0].why.contains("paused"));
}

/// A sound server that died can keep its streams for ever. The recording is whole all the same, comes to its end, and holds
/// nothing of what came after the pause that was asked for.
#[test]
fn a_stream_that_is_never_closed() {
    let folder = tempfile::tempdir().unwrap();
    let mut fake = Fake::new(MONO, 1.0, [sound(8.0, MONO), Step::End]);
    fake.closes_in = Duration::from_secs(3600);
    let begun = Instant::now();
    let (recorded, notices) = run(folder.path(), &mut fake, &[(1.0, Order::Pause), (1.5, Order::Stop)], 0.0);
    assert!(words(&notices).starts_with("part visit, ready 16000, NotClosed, paused"), "{}", words(&notices));
    let seconds = recorded.unwrap().parts[0].1;
    assert!((1.8..2.4).contains(&seconds), "a second of sound, and a seam: {seconds} s");
    let told = notices.iter().find(|(_, n)| matches!(n, Notice::Paused { .. })).unwrap().0;
    assert!(told < 6.0 && begun.elapsed() < Duration::from_secs(20), "told after {told} s");
}

/// A sound system that died answers nobody. That is said, and while one question waits none is put beside it.
#[test]
fn a_microphone_that_never_opens() {
    let folder = tempfile::tempdir().unwrap();
    let mut fake = Fake::new(MONO, 1.0, [sound(1.0, MONO), Step::End]);
    fake.opens_in = Duration::from_secs(3600);
    let mut ask = || {
        let begun = Instant::now();
        let (_order, orders) = mpsc::channel();
        let plan = Plan { least_s: 0.0, warn_s: 0.0, ..Plan::new(folder.path().join("visit.wav")) };
        let error = record(&mut fake, &plan, &orders, None, &mut |_| {}).unwrap_err();
        let told = std::error::Error::source(&error).map(ToString::to_string).unwrap_or_default();
        (told, begun.elapsed())
    };
    let (told, took) = ask();
    assert!(told.contains("`fake microphone` does not answer"), "{told}");
    assert!(took < Duration::from_secs(12), "{took:?}");
    let (told, took) = ask();
    assert!(
        told.contains("does not answer") && took < Duration::from_secs(1),
        "{told}, asked again: {took:?}"
    );
    assert!(!folder.path().join("visit.wav").exists(), "nothing was recorded");
}
