//! The way that real sound takes: PulseAudio with a sink that nobody hears, the ALSA plugin, cpal, our recorder.

use std::{
    io::{BufRead as _, BufReader},
    path::Path,
    process::{Child, Command, Stdio},
    sync::mpsc,
    thread,
    time::{Duration, Instant},
};

use tugback::audio::{self, Samples as _};

/// Ends the sound server with the test.
struct Server(Child);

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// A command that finds the sound server of this test, and no other.
fn command(program: &str, home: &Path) -> Command {
    let mut command = Command::new(program);
    command
        .env("HOME", home)
        .env("XDG_RUNTIME_DIR", home)
        .env("PULSE_RUNTIME_PATH", home)
        .env("ALSA_CONFIG_PATH", home.join("asound.conf"))
        .stdin(Stdio::null());
    command
}

/// Seconds that the threads of a process, all together, have waited for a processor while they could have gone on
/// (`proc_pid_schedstat`, the second number, in nanoseconds). Of threads that have ended nothing is known.
fn waited_s(process: u32) -> f64 {
    let tasks = std::fs::read_dir(format!("/proc/{process}/task")).into_iter().flatten().flatten();
    let of = |task: std::fs::DirEntry| {
        let text = std::fs::read_to_string(task.path().join("schedstat")).ok()?;
        text.split_whitespace().nth(1)?.parse::<u64>().ok()
    };
    tasks.filter_map(of).sum::<u64>() as f64 / 1e9
}

/// A number of the clock at each moment at which it was looked at, from first to last.
type Seen = Vec<(Instant, f64)>;

/// How much the number grew between two moments.
fn grew(seen: &Seen, from: Instant, to: Instant) -> f64 {
    let at =
        |moment: Instant| seen.iter().take_while(|(at, _)| *at <= moment).last().map_or(0.0, |(_, s)| *s);
    at(to) - at(from)
}

/// From the end of the words to the line that shows them, in seconds, without what the recorder waited for a processor that
/// others had: what docs/live.md promises. Of it the pause that ends a breath is 0.57 s; 0.6 s were measured here.
const MOST_LATE_S: f64 = 1.5;

/// Into the room, in small pieces: left to itself, the sound server hands on two seconds at once, and that looks like a
/// microphone that has gone.
const PLAY: [&str; 2] = ["--device=room", "--latency-msec=50"];

/// A part of a sample as a WAV file of its own.
fn cut(from_s: usize, to_s: usize, to: &Path) {
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-samples/incisor.flac");
    let mut recording = audio::open(&sample, &audio::Options::default()).unwrap();
    let mut all = Vec::new();
    while let Some(block) = recording.next_block().unwrap() {
        all.extend(block);
    }
    let spec = hound::WavSpec {
        channels: 1,
        sample_rate: 16_000,
        bits_per_sample: 16,
        sample_format: hound::SampleFormat::Int,
    };
    let mut file = hound::WavWriter::create(to, spec).unwrap();
    for sample in &all[from_s * 16_000..to_s * 16_000] {
        file.write_sample((sample * 32_767.0) as i16).unwrap();
    }
    file.finalize().unwrap();
}

/// Starts the sound server with a room that can be heard; none where that is not possible.
fn server(home: &Path) -> Option<Server> {
    let config = "</usr/share/alsa/alsa.conf>\npcm.!default { type pulse }\nctl.!default { type pulse }\n";
    std::fs::write(home.join("asound.conf"), config).unwrap();
    let server = command("pulseaudio", home)
        .args(["-n", "--daemonize=no", "--exit-idle-time=-1", "-L", "module-native-protocol-unix"])
        .args(["-L", "module-null-sink sink_name=room"])
        .stderr(Stdio::null())
        .spawn()
        .ok()?;
    let server = Server(server);
    let chosen = (0..50).any(|_| {
        thread::sleep(Duration::from_millis(100));
        let set = command("pactl", home)
            .args(["set-default-source", "room.monitor"])
            .stderr(Stdio::null())
            .status();
        set.is_ok_and(|s| s.success())
    });
    chosen.then_some(server)
}

/// Twenty seconds of a treatment are played in real time: the numbers are in the log, the recording is whole, entries came
/// while it was spoken, and the log is the one that `tugback log` makes of the recording.
#[test]
fn sound_from_the_system_is_recorded_and_logged() {
    let folder = tempfile::tempdir().unwrap();
    let home = folder.path();
    let Some(_server) = server(home) else {
        println!("left out: PulseAudio is not here, or does not start");
        return;
    };
    let logs = cfg!(feature = "whisper") && tugback::listen::model::find_models(None, None).is_ok();
    let spoken = home.join("spoken.wav");
    cut(40, 60, &spoken);
    let recording = home.join("visit.wav");
    let mut recorder = command(env!("CARGO_BIN_EXE_tugback"), home);
    recorder.args(["record", "--volume", "0", "-o"]).arg(&recording).current_dir(home);
    if !logs {
        recorder.arg("--no-log");
    }
    let mut recorder = recorder.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let out = BufReader::new(recorder.stdout.take().unwrap());
    let reader = thread::spawn(move || {
        let lines: Vec<(Instant, String)> =
            out.lines().map_while(Result::ok).map(|line| (Instant::now(), line)).collect();
        lines
    });
    let process = recorder.id();
    let (over, watch) = mpsc::channel::<()>();
    let watcher = thread::spawn(move || {
        let mut seen = Seen::new();
        while watch.recv_timeout(Duration::from_millis(20)) == Err(mpsc::RecvTimeoutError::Timeout) {
            seen.push((Instant::now(), waited_s(process)));
        }
        seen
    });
    // Some sound, so that the recorder can be ready.
    let start = Instant::now();
    let player = command("paplay", home).args(PLAY).arg(&spoken).stderr(Stdio::null()).spawn();
    let Ok(mut player) = player else {
        println!("left out: there is no paplay");
        let _ = recorder.kill();
        let _ = recorder.wait();
        return;
    };
    let _ = player.wait();
    thread::sleep(Duration::from_secs(6));
    let interrupt = Command::new("kill").args(["-INT", &recorder.id().to_string()]).status();
    assert!(interrupt.is_ok_and(|s| s.success()));
    let stopped = Instant::now();
    drop(over);
    let waited = watcher.join().unwrap();
    let out = recorder.wait_with_output().unwrap();
    let lines = reader.join().unwrap();
    let warned = String::from_utf8_lossy(&out.stderr);
    if warned.contains("cannot be opened") || warned.contains("no microphone was found") {
        println!("left out: ALSA has no plugin for PulseAudio here");
        return;
    }
    let told: Vec<&str> = lines.iter().map(|(_, line)| line.as_str()).collect();
    assert!(out.status.success() && told.iter().any(|l| l.starts_with("ready: ")), "{told:#?}\n{warned}");

    let mut file = hound::WavReader::open(&recording).unwrap();
    let seconds = f64::from(file.duration()) / f64::from(file.spec().sample_rate);
    let whole_s = (stopped - start).as_secs_f64();
    assert!(seconds > whole_s - 4.0 && seconds < whole_s + 1.0, "{seconds} s of {whole_s} s");
    let most = (1_i64 << (file.spec().bits_per_sample - 1)) as f64;
    let peak = file.samples::<i32>().map(|s| f64::from(s.unwrap()).abs() / most).fold(0.0, f64::max);
    assert!(peak > 0.05, "speech was played, the loudest sample is {peak}");
    if !logs {
        println!("no speech model is here: only the recording was looked at");
        return;
    }

    let path = recording.with_extension("log.json");
    let log: serde_json::Value = serde_json::from_slice(&std::fs::read(&path).unwrap()).unwrap();
    let entries = log["entries"].as_array().unwrap();
    let length = entries.iter().find(|e| e["kind"] == "working-length").expect("a working length was said");
    assert_eq!(length["values"]["length_mm"], 23.5, "{length}");
    // Latency, by the clock: the recording ended when it was stopped, so it began its length before. Unoptimised, it says
    // nothing.
    let begun = stopped.checked_sub(Duration::from_secs_f64(seconds)).unwrap();
    let said = begun + Duration::from_secs_f64(length["to_s"].as_f64().unwrap());
    let shown = lines.iter().find(|(at, l)| *at < stopped && l.contains("working length"));
    let (shown, _) = shown.expect("it was shown while it was recorded");
    let late_s = shown.saturating_duration_since(said).as_secs_f64();
    let waited_s = grew(&waited, said, *shown);
    println!("shown {late_s:.2} s after it was said, of which {waited_s:.2} s were waited for a processor");
    let own_s = late_s - waited_s;
    assert!(late_s > 0.4, "{late_s} s: before the breath can have been over");
    assert!(cfg!(debug_assertions) || own_s < MOST_LATE_S, "{late_s} s, of which {waited_s} s were others'");

    let again = home.join("again.json");
    let logged = command(env!("CARGO_BIN_EXE_tugback"), home)
        .args(["log", "-q", "-o"])
        .args([&again, &recording])
        .status()
        .unwrap();
    assert!(logged.success());
    assert_eq!(std::fs::read(&path).unwrap(), std::fs::read(&again).unwrap(), "the same log, byte for byte");
}

/// How many programs have the microphone open, as the sound server knows it.
fn listeners(home: &Path) -> usize {
    let out = command("pactl", home).args(["list", "short", "source-outputs"]).output().unwrap();
    String::from_utf8_lossy(&out.stdout).lines().filter(|l| !l.is_empty()).count()
}

/// Waits until so many programs have the microphone open.
#[track_caller]
fn until_listeners(home: &Path, count: usize) {
    let begun = Instant::now();
    while listeners(home) != count {
        assert!(begun.elapsed() < Duration::from_secs(20), "never {count} that listen");
        thread::sleep(Duration::from_millis(50));
    }
}

/// As a service starts it: no terminal, every stream closed. A signal pauses and goes on, another ends it in good order; what
/// was said meanwhile is nowhere.
#[test]
fn nobody_sees_it() {
    let folder = tempfile::tempdir().unwrap();
    let home = folder.path();
    let Some(_server) = server(home) else {
        println!("left out: PulseAudio is not here, or does not start");
        return;
    };
    let logs = cfg!(feature = "whisper") && tugback::listen::model::find_models(None, None).is_ok();
    let (spoken, private) = (home.join("spoken.wav"), home.join("private.wav"));
    cut(41, 50, &spoken);
    cut(52, 54, &private);
    let recording = home.join("visit.wav");
    let mut recorder = command("sh", home);
    recorder.args(["-c", "exec \"$0\" \"$@\" <&- >&- 2>&-", env!("CARGO_BIN_EXE_tugback"), "record"]);
    recorder.args(["--volume", "0", "-o"]).arg(&recording).args(if logs { None } else { Some("--no-log") });
    let mut recorder = recorder.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let begun = Instant::now();
    while listeners(home) == 0 && begun.elapsed() < Duration::from_secs(10) {
        thread::sleep(Duration::from_millis(50));
    }
    let play = |what: &Path| command("paplay", home).args(PLAY).arg(what).status().is_ok_and(|s| s.success());
    if listeners(home) == 0 || !play(&spoken) {
        println!("left out: ALSA has no plugin for PulseAudio here, or there is no paplay");
        let _ = recorder.kill();
        let _ = recorder.wait();
        return;
    }
    let signal = |name: &str| {
        let sent = Command::new("kill").args([name, &recorder.id().to_string()]).status();
        assert!(sent.is_ok_and(|s| s.success()));
    };
    signal("-USR1");
    until_listeners(home, 0);
    assert!(play(&private));
    signal("-USR1");
    until_listeners(home, 1);
    thread::sleep(Duration::from_millis(500));
    signal("-TERM");
    assert!(recorder.wait().unwrap().success());

    let mut all = Vec::new();
    let mut file = audio::open(&recording, &audio::Options::default()).unwrap();
    while let Some(block) = file.next_block().unwrap() {
        all.extend(block);
    }
    let loud = all.iter().rposition(|s| s.abs() > 0.02).expect("speech was played") as f64 / 16_000.0;
    let seconds = all.len() as f64 / 16_000.0;
    // After the words: a second of silence for the pause, and half a second of a silent room.
    assert!(seconds - loud > 1.0, "{seconds} s, the last sound is at {loud} s");
    if !logs {
        return;
    }
    let path = recording.with_extension("log.json");
    let log: serde_json::Value = serde_json::from_slice(&std::fs::read(&path).unwrap()).unwrap();
    let said = log.to_string().to_lowercase();
    assert!(said.contains("23.5") && said.contains("paused"), "{log:#}");
    assert!(!said.contains("patency") && !said.contains("half a millimet"), "{log:#}");
}

/// The sound server is killed while it is recorded from. Its clients hang then; the recording does not: what was said is kept,
/// and it comes to its end.
#[test]
fn the_sound_server_dies() {
    let folder = tempfile::tempdir().unwrap();
    let home = folder.path();
    let Some(server) = server(home) else {
        println!("left out: PulseAudio is not here, or does not start");
        return;
    };
    let spoken = home.join("spoken.wav");
    cut(44, 47, &spoken);
    let recording = home.join("visit.wav");
    let mut recorder = command(env!("CARGO_BIN_EXE_tugback"), home);
    recorder.args(["record", "--volume", "0", "--no-log", "-o"]).arg(&recording);
    let mut recorder = recorder.stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap();
    let begun = Instant::now();
    while listeners(home) == 0 && begun.elapsed() < Duration::from_secs(10) {
        thread::sleep(Duration::from_millis(50));
    }
    let played = command("paplay", home).args(PLAY).arg(&spoken).status();
    if listeners(home) == 0 || !played.is_ok_and(|s| s.success()) {
        println!("left out: ALSA has no plugin for PulseAudio here, or there is no paplay");
        let _ = recorder.kill();
        let _ = recorder.wait();
        return;
    }
    drop(server);
    thread::sleep(Duration::from_secs(1));
    let interrupt = Command::new("kill").args(["-INT", &recorder.id().to_string()]).status();
    assert!(interrupt.is_ok_and(|s| s.success()));
    let asked = Instant::now();
    while recorder.try_wait().unwrap().is_none() {
        if asked.elapsed() > Duration::from_secs(20) {
            let _ = recorder.kill();
            panic!("it does not end");
        }
        thread::sleep(Duration::from_millis(50));
    }
    let told = recorder.wait_with_output().unwrap();
    assert!(told.status.success(), "{}", String::from_utf8_lossy(&told.stderr));
    let file = hound::WavReader::open(&recording).expect("it is finished");
    let seconds = f64::from(file.duration()) / f64::from(file.spec().sample_rate);
    assert!(seconds > 2.0, "three seconds were spoken, {seconds} s are there");
}
