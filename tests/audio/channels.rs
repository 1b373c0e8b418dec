//! Which channel and which track is listened to, and what the level means: cases A08, A09, A10.

use crate::made::{self, Wav, extensible, format, hum, noise, pcm16, same, tell, tell_all, voice, wav};

/// A WAV file of these channels, 16 kHz.
fn of(channels: &[Vec<f32>], mask: u32) -> Wav {
    let (count, block) = (channels.len() as u16, channels.len() as u16 * 2);
    let format = match mask {
        0 => format(1, count, 16_000, block, 16, &[]),
        mask => format(0xfffe, count, 16_000, block, 16, &extensible(16, mask, 1)),
    };
    Wav { format, data: pcm16(channels), ..wav() }
}

#[track_caller]
fn check(what: &str, channels: &[Vec<f32>], mask: u32, expect: &str) {
    let told = tell_all(made::open("x.wav", &of(channels, mask).bytes(), None));
    // Kind and length are the same in all.
    let (_, told) = told.split_once(": ").unwrap();
    same(what, told, expect);
}

fn silent() -> Vec<f32> {
    vec![0.0; voice().len()]
}

fn at(level: f32) -> Vec<f32> {
    voice().iter().map(|s| s * level).collect()
}

fn sum(a: &[f32], b: &[f32]) -> Vec<f32> {
    a.iter().zip(b).map(|(a, b)| (a + b).clamp(-1.0, 1.0)).collect()
}

#[test]
fn one_of_two() {
    let n = voice().len();
    check(
        "b02: right silent",
        &[voice(), silent()],
        0,
        "the voice, 6.78 s; the left channel: speech is clearest there; the others were left out",
    );
    check(
        "left silent",
        &[silent(), voice()],
        0,
        "the voice, 6.78 s; the right channel: speech is clearest there; the others were left out",
    );
    check(
        "b03: an inverted pair",
        &[voice(), at(-1.0)],
        0,
        "the voice, 6.78 s; both channels, the right one inverted: they are each other's mirror image",
    );
    check(
        "an inverted pair, one side softer",
        &[at(0.3), at(-0.9)],
        0,
        "the voice, 6.78 s; both channels, the right one inverted: they are each other's mirror image",
    );
    check(
        "an inverted pair with noise of its own",
        &[sum(&voice(), &noise(n, 0.003)), sum(&at(-1.0), &hum(n, 50.0, 0.01))],
        0,
        "the voice, 6.78 s; both channels, the right one inverted: they are each other's mirror image",
    );
    check(
        "both the same",
        &[voice(), voice()],
        0,
        "the voice, 6.78 s; the left channel; the other is the same",
    );
    check(
        "the same, softer on the left",
        &[sum(&at(0.1), &noise(n, 0.004)), sum(&voice(), &noise(n, 0.004))],
        0,
        "the voice, 6.78 s; the right channel; the other is the same",
    );
    check(
        "hum on the left, louder than the voice",
        &[hum(n, 50.0, 0.4), at(0.2)],
        0,
        "the voice, 6.78 s; the right channel: speech is clearest there; the others were left out",
    );
    check(
        "hum in the speech band on the left",
        &[hum(n, 400.0, 0.4), at(0.2)],
        0,
        "the voice, 6.78 s; the right channel: speech is clearest there; the others were left out",
    );
    check(
        "noise on the right, louder than the voice",
        &[at(0.3), noise(n, 0.5)],
        0,
        "the voice, 6.78 s; the left channel: speech is clearest there; the others were left out",
    );
    check(
        "both silent",
        &[silent(), silent()],
        0,
        "silence, 6.78 s; the left channel: all are silent; no signal",
    );
    check(
        "only noise, right louder",
        &[noise(n, 0.01), noise(n, 0.1)],
        0,
        "something else, 6.78 s; the right channel: no channel has speech, this one is the loudest; nothing stands out from steady sound or noise",
    );
    // Two people, each with a microphone: the second speaks when the first has ended.
    let first: Vec<f32> = voice().into_iter().chain(silent()).collect();
    let second: Vec<f32> = silent().into_iter().chain(at(0.8)).collect();
    check(
        "two voices, one after the other",
        &[first.clone(), second],
        0,
        "the voice, 13.56 s; the left channel and the right channel together: different voices speak on them",
    );
    let soft: Vec<f32> = silent().into_iter().chain(noise(n, 0.2)).collect();
    check(
        "a voice, then noise on the other side",
        &[first, soft],
        0,
        "the voice, 13.56 s; the left channel: speech is clearest there; the others were left out",
    );
}

#[test]
fn centre_of_many() {
    let five = |centre: Vec<f32>, others: Vec<f32>| {
        let low = hum(centre.len(), 40.0, 0.3);
        vec![others.clone(), others.clone(), centre, low, others.clone(), others]
    };
    let n = voice().len();
    check(
        "b11: voice in the centre only",
        &five(voice(), silent()),
        0x3f,
        "the voice, 6.78 s; the centre channel: speech is clearest there",
    );
    check(
        "without a channel mask",
        &five(voice(), silent()),
        0,
        "the voice, 6.78 s; the centre channel: speech is clearest there",
    );
    check(
        "with noise around",
        &five(at(0.5), noise(n, 0.2)),
        0x3f,
        "the voice, 6.78 s; the centre channel: speech is clearest there",
    );
    check(
        "everywhere",
        &five(voice(), voice()),
        0x3f,
        "the voice, 6.78 s; the centre channel: speech is clearest there",
    );
    let mut back = vec![noise(n, 0.05); 4];
    back[3] = sum(&at(0.8), &noise(n, 0.01));
    check(
        "four microphones, the last one near",
        &back,
        0,
        "the voice, 6.78 s; channel 4: speech is clearest there; the others were left out",
    );
}

#[test]
fn levels() {
    let n = voice().len();
    check("b04: peak 0.005", &[at(0.006)], 0, "the voice, 6.78 s; very quiet");
    check("hardly anything", &[at(0.0006)], 0, "the voice, 6.78 s; very quiet; noisy");
    let clipped: Vec<f32> = voice().iter().map(|s| (s * 12.0).clamp(-1.0, 1.0)).collect();
    check("b05: clipped", std::slice::from_ref(&clipped), 0, "something else, 6.78 s; clipped");
    let turned_down: Vec<f32> = clipped.iter().map(|s| s * 0.4).collect();
    check("clipped, then turned down", &[turned_down], 0, "something else, 6.78 s; clipped");
    let shifted: Vec<f32> = voice().iter().map(|s| s * 0.5 + 0.3).collect();
    check(
        "b06: a constant of 30 %",
        &[shifted],
        0,
        "the voice, 6.78 s | a constant of 30.0 % of full scale was taken off",
    );
    check("b07: digital silence", &[silent()], 0, "silence, 6.78 s; no signal");
    check(
        "a constant and nothing else",
        &[vec![0.2; n]],
        0,
        "silence, 6.78 s; no signal | a constant of 20.0 % of full scale was taken off",
    );
    check(
        "very faint noise",
        &[noise(n, 0.0002)],
        0,
        "something else, 6.78 s; nothing stands out from steady sound or noise",
    );
    check(
        "b08: steady noise",
        &[noise(n, 0.05)],
        0,
        "something else, 6.78 s; nothing stands out from steady sound or noise",
    );
    check(
        "b09: a motor",
        &[hum(n, 420.0, 0.1)],
        0,
        "something else, 6.78 s; nothing stands out from steady sound or noise",
    );
    check(
        "noise near full scale",
        &[noise(n, 0.8)],
        0,
        "something else, 6.78 s; nothing stands out from steady sound or noise; loud all the time",
    );
    check("noise under the voice", &[sum(&at(0.3), &noise(n, 0.02))], 0, "the voice, 6.78 s");
    check(
        "noise as loud as the voice",
        &[sum(&at(0.3), &noise(n, 0.15))],
        0,
        "something else, 6.78 s; nothing stands out from steady sound or noise",
    );
    let mut alone = vec![0.0; 16_000 * 120];
    alone[16_000 * 60..][..n].copy_from_slice(&voice());
    check("six seconds in two minutes", &[alone], 0, "something else, 120.00 s");
}

/// Floats hold more than full scale: nothing is cut off there, and the listener's copy is made softer.
#[test]
fn louder_than_full_scale() {
    let of = |level: f32, most: f32| {
        let data = voice().iter().flat_map(|s| (s * level).clamp(-most, most).to_le_bytes()).collect();
        let wav = Wav { format: format(3, 1, 16_000, 4, 32, &[]), data, ..wav() };
        let opened = made::open("x.wav", &wav.bytes(), None).unwrap();
        let gain_db = opened.report().gain_db;
        let told = tell_all(Ok(opened));
        (told.split_once(": ").unwrap().1.to_owned(), gain_db)
    };
    let right = "the voice, 6.78 s".to_owned();
    assert_eq!(of(1.0, f32::MAX), (right.clone(), 0.0));
    let (told, gain_db) = of(20.0, f32::MAX);
    assert_eq!(told, right);
    assert!((-35.0..=-20.0).contains(&gain_db), "{gain_db}");
    // Whole numbers of 16 bits, written as floats.
    let (told, whole_db) = of(32_768.0, f32::MAX);
    assert_eq!(told, right);
    assert!((gain_db - whole_db - 64.3).abs() < 1.0, "{whole_db}");
    // Cut off before, whatever the level is now.
    assert_eq!(of(12.0, 1.0).0, "something else, 6.78 s; clipped");
    assert_eq!(of(240.0, 20.0).0, "something else, 6.78 s; clipped");
}

#[test]
fn tracks() {
    let of = |name: &str, track| tell(made::open("x.mp4", &made::bytes(name), track));
    let mp4 = "two_tracks_speech_second.mp4";
    same(
        "c09",
        &of(mp4, None),
        "MP4, AAC, 16000 Hz x 1: the voice, 3.01 s; track 2 of 2: speech is clearest there",
    );
    same(
        "the first",
        &of(mp4, Some(1)),
        "MP4, AAC, 48000 Hz x 1: silence, 3.01 s; track 1 of 2: asked for; no signal | track 2 has speech too; `--track 2` listens to it instead",
    );
    same(
        "the second",
        &of(mp4, Some(2)),
        "MP4, AAC, 16000 Hz x 1: the voice, 3.01 s; track 2 of 2: asked for",
    );
    same("a third", &of(mp4, Some(3)), "refused: has no track 3");
    same("a zeroth", &of(mp4, Some(0)), "refused: has no track 0");
    let webm = "two_tracks_speech_second.webm";
    same(
        "with pictures",
        &of(webm, None),
        "Matroska or WebM, Opus, 48000 Hz x 1: the voice, 3.01 s; track 2 of 2: speech is clearest there",
    );
    same(
        "the first",
        &of(webm, Some(1)),
        "Matroska or WebM, Opus, 48000 Hz x 1: silence, 3.01 s; track 1 of 2: asked for; no signal | track 2 has speech too; `--track 2` listens to it instead",
    );
}
