//! The way that real sound takes: PulseAudio with a sink that nobody hears, the ALSA plugin, cpal, our recorder.

use std::{
    path::Path,
    process::{Child, Command, Stdio},
    thread,
    time::Duration,
};

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

#[test]
fn sound_from_the_system_is_recorded() {
    let folder = tempfile::tempdir().unwrap();
    let home = folder.path();
    let config = "</usr/share/alsa/alsa.conf>\npcm.!default { type pulse }\nctl.!default { type pulse }\n";
    std::fs::write(home.join("asound.conf"), config).unwrap();
    let server = command("pulseaudio", home)
        .args(["-n", "--daemonize=no", "--exit-idle-time=-1", "-L", "module-native-protocol-unix"])
        .args(["-L", "module-null-sink sink_name=room"])
        .stderr(Stdio::null())
        .spawn();
    let Ok(server) = server else {
        println!("left out: there is no PulseAudio here");
        return;
    };
    let _server = Server(server);
    let chosen = (0..50).any(|_| {
        thread::sleep(Duration::from_millis(100));
        let set = command("pactl", home)
            .args(["set-default-source", "room.monitor"])
            .stderr(Stdio::null())
            .status();
        set.is_ok_and(|s| s.success())
    });
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-samples/incisor.flac");
    let player = command("paplay", home).arg("--device=room").arg(&sample).stderr(Stdio::null()).spawn();
    let (true, Ok(player)) = (chosen, player) else {
        println!("left out: PulseAudio does not start here");
        return;
    };
    let _player = Server(player);
    let recording = home.join("visit.wav");
    let recorder = command(env!("CARGO_BIN_EXE_tugback"), home)
        .args(["record", "--no-log", "--volume", "0", "-o"])
        .arg(&recording)
        .current_dir(home)
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    thread::sleep(Duration::from_secs(8));
    let interrupt = Command::new("kill").args(["-INT", &recorder.id().to_string()]).status();
    assert!(interrupt.is_ok_and(|s| s.success()));
    let out = recorder.wait_with_output().unwrap();
    let (told, warned) = (String::from_utf8_lossy(&out.stdout), String::from_utf8_lossy(&out.stderr));
    if warned.contains("cannot be opened") || warned.contains("no microphone was found") {
        println!("left out: ALSA has no plugin for PulseAudio here");
        return;
    }
    assert!(out.status.success() && told.contains("ready: "), "{told}\n{warned}");
    let mut file = hound::WavReader::open(&recording).unwrap();
    let seconds = f64::from(file.duration()) / f64::from(file.spec().sample_rate);
    assert!((4.0..9.0).contains(&seconds), "{seconds} s");
    let most = (1_i64 << (file.spec().bits_per_sample - 1)) as f64;
    let peak = file.samples::<i32>().map(|s| f64::from(s.unwrap()).abs() / most).fold(0.0, f64::max);
    assert!(peak > 0.05, "speech was played, the loudest sample is {peak}");
}
