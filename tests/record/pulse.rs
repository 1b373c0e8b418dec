//! The way that real sound takes: PulseAudio with a sink that nobody hears, the ALSA plugin, cpal, our recorder.

use std::{
    io::{BufRead as _, BufReader},
    path::Path,
    process::{Child, Command, Stdio},
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

/// Programs that wanted a processor in the last minute (`proc_loadavg(5)`).
fn load() -> Option<f64> {
    std::fs::read_to_string("/proc/loadavg").ok()?.split(' ').next()?.parse().ok()
}

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
    // Some sound, so that the recorder can be ready.
    let start = Instant::now();
    let player = command("paplay", home).arg("--device=room").arg(&spoken).stderr(Stdio::null()).spawn();
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
    // Latency: from the end of these words to the line that showed them, by the clock. The recording begins a moment before
    // "ready". On a computer that is busy with other work, or unoptimised, it says nothing.
    let ready = lines.iter().find(|(_, l)| l.starts_with("ready: ")).unwrap().0;
    let shown = lines.iter().find(|(at, l)| *at < stopped && l.contains("working length"));
    let late_s = shown.map(|(at, _)| (*at - ready).as_secs_f64() - length["to_s"].as_f64().unwrap());
    println!("the working length was shown {late_s:.2?} s after it was said");
    let idle = load().is_some_and(|load| load < 2.0) && cfg!(not(debug_assertions));
    assert!(!idle || late_s.is_some_and(|s| (0.2..4.0).contains(&s)), "{late_s:?} s");

    let again = home.join("again.json");
    let logged = command(env!("CARGO_BIN_EXE_tugback"), home)
        .args(["log", "-q", "-o"])
        .args([&again, &recording])
        .status()
        .unwrap();
    assert!(logged.success());
    assert_eq!(std::fs::read(&path).unwrap(), std::fs::read(&again).unwrap(), "the same log, byte for byte");
}
