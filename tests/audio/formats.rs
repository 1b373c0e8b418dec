//! Every container and codec that is read, whole and broken, and every one that is not: cases A05, A06, A07, A12.

use crate::made::{self, same, tell};

/// A stored file under a name that says nothing, or something wrong.
#[track_caller]
fn check(name: &str, expect: &str) {
    same(name, &tell(made::open("recording.mp3", &made::bytes(name), None)), expect);
}

#[track_caller]
fn refuse(what: &str, bytes: &[u8], expect: &str) {
    same(what, &tell(made::open("x.wav", bytes, None)), expect);
}

#[track_caller]
fn broken(what: &str, name: &str, how: impl FnOnce(&mut Vec<u8>), expect: &str) {
    let mut file = made::bytes(name);
    how(&mut file);
    same(what, &tell(made::open("recording.wav", &file, None)), expect);
}

#[test]
fn by_content() {
    check("c01_voice.ogg", "Ogg, Opus, 48000 Hz x 1: the voice, 6.79 s");
    check("c02_moov_last.m4a", "MP4, AAC, 44100 Hz x 1: the voice, 6.80 s");
    check("c05_vbr.mp3", "MPEG audio, MP3, 44100 Hz x 1: the voice, 6.79 s");
    check("voice.aac", "ADTS, AAC, 16000 Hz x 1: the voice, 3.01 s");
    check("voice.flac", "FLAC, FLAC, 16000 Hz x 1: the voice, 3.00 s");
    check("voice.mp2", "MPEG audio, MP2, 24000 Hz x 1: the voice, 3.00 s");
    check("voice_aac.mkv", "Matroska or WebM, AAC, 48000 Hz x 1: the voice, 3.01 s");
    check("voice_alac.caf", "CAF, ALAC, 16000 Hz x 1: the voice, 3.00 s");
    check("voice_alac.m4a", "MP4, ALAC, 16000 Hz x 1: the voice, 3.00 s");
    check(
        "voice_centre_51.ogg",
        "Ogg, Vorbis, 48000 Hz x 6: the voice, 3.01 s; the centre channel: speech is clearest there",
    );
    check(
        "voice_centre_51.opus",
        "Ogg, Opus, 48000 Hz x 6: the voice, 3.01 s; the centre channel: speech is clearest there",
    );
    check("voice_flac.ogg", "Ogg, FLAC, 16000 Hz x 1: the voice, 3.00 s");
    check("voice_fragments.mp4", "MP4, AAC, 48000 Hz x 1: the voice, 3.01 s");
    // HE-AAC: its core, at half the rate.
    check("voice_he.m4a", "MP4, AAC, 24000 Hz x 1: the voice 42 ms late, 2.94 s");
    check("voice_ima.wav", "WAV, IMA ADPCM, 16000 Hz x 1: the voice, 3.06 s");
    check("voice_ima4.aiff", "AIFF-C, IMA ADPCM, 16000 Hz x 1: the voice, 3.00 s");
    check("voice_ima4.mov", "MP4, IMA ADPCM, 16000 Hz x 1: the voice, 3.00 s");
    check("voice_index_first.m4a", "MP4, AAC, 16000 Hz x 1: the voice, 3.01 s");
    check("voice_lowdelay.opus", "Ogg, Opus, 48000 Hz x 1: the voice, 3.00 s");
    check("voice_mp3.wav", "WAV, MP3, 44100 Hz x 1: the voice, 3.01 s");
    check("voice_ms.wav", "WAV, Microsoft ADPCM, 16000 Hz x 1: the voice, 3.05 s");
    check("voice_opus.caf", "CAF, Opus, 48000 Hz x 1: the voice, 3.01 s");
    check("voice_opus.mp4", "MP4, Opus, 48000 Hz x 1: the voice, 3.01 s");
    check("voice_opus.webm", "Matroska or WebM, Opus, 48000 Hz x 1: the voice, 3.01 s");
    check("voice_pcm24.mov", "MP4, PCM, 24 bit, 16000 Hz x 1: the voice, 3.00 s");
    check(
        "voice_stereo.opus",
        "Ogg, Opus, 48000 Hz x 2: the voice, 3.01 s; the left channel; the other is the same",
    );
    check("voice_vorbis.ogg", "Ogg, Vorbis, 48000 Hz x 1: the voice, 3.01 s");
    check("voice_vorbis.webm", "Matroska or WebM, Vorbis, 16000 Hz x 1: the voice, 3.00 s");
}

#[test]
fn not_read() {
    check("voice_speex.ogg", "refused: is Ogg, but its sound is Speex, for which there is no decoder here");
    check("voice_ac3.mp4", "refused: is MP4, but its sound is AC-3, for which there is no decoder here");
    check(
        "voice_centre_51_aac.m4a",
        "refused: is MP4, but its sound is AAC with 6 channels, for which there is no decoder here",
    );
    check("c13_text.wav", "refused: is not a recording: it is text");
    refuse("nothing (a17)", b"", "refused: is empty (0 bytes): nothing was saved into it");
    refuse(
        "Windows Media",
        b"\x30\x26\xb2\x75\x8e\x66\xcf\x11\xa6\xd9",
        "refused: is a Windows Media file (ASF), which is not read",
    );
    refuse("AMR", b"#!AMR\n", "refused: is an AMR voice note, which is not read");
    refuse("dictation", b"\x02dss", "refused: is a DSS dictation, which is not read");
    refuse("AVI", b"RIFF\0\0\0\0AVI LIST", "refused: is an AVI video, which is not read");
    refuse("a picture", b"\xff\xd8\xff\xe0", "refused: is not a recording: it is a picture");
    refuse("an archive", b"PK\x03\x04", "refused: is not a recording: it is a ZIP archive");
    refuse(
        "zeros only",
        &vec![0; 100_000],
        "refused: is not a recording: it holds nothing but zeros: the recorder never wrote the sound",
    );
    refuse(
        "bytes of no kind",
        b"\x13\x37\x01",
        "refused: is not a recording: no known kind of sound or video file starts in it",
    );
    refuse(
        "captions",
        b"WEBVTT\n\n00:01.000 --> 00:02.000\nrinse with three mils\n",
        "refused: is not a recording: it is text",
    );
    refuse("UTF-16 text", b"\xff\xfeh\0e\0l\0l\0o\0 \0y\0o\0u\0", "refused: is not a recording: it is text");
}

#[test]
fn cut_off() {
    // The index of c02 is its last 1921 bytes.
    broken(
        "c03: no index",
        "c02_moov_last.m4a",
        |f| f.truncate(59_529),
        "refused: (MP4): recording was cut off before it was finished: its index (`moov`), which is written last, is missing",
    );
    broken(
        "c04: cut in the index",
        "c02_moov_last.m4a",
        |f| f.truncate(60_500),
        "refused: (MP4): recording was cut off before it was finished: the file ends inside its index (`moov`)",
    );
    broken(
        "index first, cut in the sound",
        "voice_index_first.m4a",
        |f| f.truncate(18_000),
        "MP4, AAC, 16000 Hz x 1: the voice, 1.79 s | file cut short: its header promises 3.1 s, 1.8 s could be read | the file ends 11910 bytes before the end of its sound; what is there was taken | the index lists sound behind the end of the file",
    );
    broken(
        "c08: a cut MP3",
        "c05_vbr.mp3",
        |f| f.truncate(20_000),
        "MPEG audio, MP3, 44100 Hz x 1: the voice, 1.62 s | file cut short: its header promises 6.8 s, 1.6 s could be read | the last frame is not whole: the recording may have been cut off there",
    );
    broken(
        "an MP3 without one whole frame",
        "c05_vbr.mp3",
        |f| f.truncate(300),
        "refused: (MPEG audio) holds no sound: not one sample could be decoded (MP3 without content)",
    );
    broken(
        "a cut voice note",
        "c01_voice.ogg",
        |f| f.truncate(9_000),
        "Ogg, Opus, 48000 Hz x 1: the voice, 3.99 s | the file has no end mark: the recording was cut off there, or its last part is damaged",
    );
    broken(
        "a voice note with damage in its last page",
        "c01_voice.ogg",
        |f| f[13_000] ^= 0xff,
        "Ogg, Opus, 48000 Hz x 1: the voice, 5.99 s | the file has no end mark: the recording was cut off there, or its last part is damaged",
    );
    broken(
        "a voice note cut in its head",
        "c01_voice.ogg",
        |f| f.truncate(60),
        "refused: (Ogg): recording was cut off before it was finished: the file ends before the first sound",
    );
    broken(
        "a cut FLAC",
        "voice.flac",
        |f| f.truncate(40_000),
        "FLAC, FLAC, 16000 Hz x 1: the voice, 1.66 s | file cut short: its header promises 3.0 s, 1.7 s could be read",
    );
    broken(
        "a cut WebM",
        "voice_opus.webm",
        |f| f.truncate(20_000),
        "Matroska or WebM, Opus, 48000 Hz x 1: the voice, 1.39 s | file cut short: its header promises 3.0 s, 1.4 s could be read | the file ends, or is damaged, inside a block of sound; the rest was taken",
    );
    broken(
        "a cut MKV",
        "voice_aac.mkv",
        |f| f.truncate(20_000),
        "Matroska or WebM, AAC, 48000 Hz x 1: the voice, 1.77 s | file cut short: its header promises 3.0 s, 1.8 s could be read | the file ends, or is damaged, inside a block of sound; the rest was taken",
    );
    broken(
        "fragments, cut",
        "voice_fragments.mp4",
        |f| f.truncate(20_000),
        "MP4, AAC, 48000 Hz x 1: the voice, 1.73 s | the file ends 3325 bytes before the end of its sound; what is there was taken | the index lists sound behind the end of the file",
    );
    broken(
        "ALAC in CAF, cut",
        "voice_alac.caf",
        |f| f.truncate(30_000),
        "refused: (CAF): recording was cut off before it was finished: its list of packets, which is written last, is missing",
    );
}

#[test]
fn lengths_that_lie() {
    let frames = |n: u32| {
        move |f: &mut Vec<u8>| {
            let at = f.windows(4).position(|w| w == b"Xing" || w == b"Info").unwrap() + 8;
            f[at..at + 4].copy_from_slice(&n.to_be_bytes());
        }
    };
    broken(
        "c06: no frames",
        "c05_vbr.mp3",
        frames(0),
        "MPEG audio, MP3, 44100 Hz x 1: the voice, 6.79 s | header repaired: the length header says 0 frames; it was not believed",
    );
    broken(
        "c07: four times as many",
        "c05_vbr.mp3",
        frames(1044),
        "MPEG audio, MP3, 44100 Hz x 1: the voice, 6.79 s | file cut short: its header promises 27.3 s, 6.8 s could be read",
    );
    broken(
        "more than any file has",
        "c05_vbr.mp3",
        frames(u32::MAX),
        "MPEG audio, MP3, 44100 Hz x 1: the voice, 6.79 s",
    );
    broken("a third", "c05_vbr.mp3", frames(87), "MPEG audio, MP3, 44100 Hz x 1: the voice, 6.79 s");
    let cover = |f: &mut Vec<u8>| {
        let tag = [b"ID3\x04\0\0\x00\x7f\x7f\x7f".as_slice(), &vec![0xff; 2_097_151]].concat();
        f.splice(0..0, tag);
    };
    broken("a cover of 2 MB", "c05_vbr.mp3", cover, "MPEG audio, MP3, 44100 Hz x 1: the voice, 6.79 s");
    broken(
        "tags behind",
        "c05_vbr.mp3",
        |f| f.extend([b"TAG".as_slice(), &[0x20; 125]].concat()),
        "MPEG audio, MP3, 44100 Hz x 1: the voice, 6.79 s",
    );
    let doubled = |f: &mut Vec<u8>| f.extend(made::bytes("voice_mp3.wav")[44..].to_vec());
    broken(
        "two joined",
        "c05_vbr.mp3",
        doubled,
        "MPEG audio, MP3, 44100 Hz x 1: the voice, 9.82 s | damage inside: 26 bytes could not be read; silence of about that length stands there",
    );
}

/// The clock of an MP4 file, in ticks a second: true, 0, and lies.
#[test]
fn clocks_that_lie() {
    let clock = |ticks: u32| {
        move |f: &mut Vec<u8>| {
            // Version and flags, two times, then the clock.
            let at = f.windows(4).position(|w| w == b"mdhd").unwrap() + 16;
            f[at..at + 4].copy_from_slice(&ticks.to_be_bytes());
        }
    };
    broken("the true one", "c02_moov_last.m4a", clock(44_100), "MP4, AAC, 44100 Hz x 1: the voice, 6.80 s");
    // Whatever it says, the samples are counted.
    for (ticks, told) in [(1, true), (11_025, true), (22_050, true), (88_200, false), (u32::MAX, false)] {
        let mut file = made::bytes("c02_moov_last.m4a");
        clock(ticks)(&mut file);
        let is = tell(made::open("recording.wav", &file, None));
        assert!(is.starts_with("MP4, AAC, 44100 Hz x 1: the voice") && is.contains(", 6.8"), "{ticks}: {is}");
        assert_eq!(is.contains("was not believed"), told, "{ticks}: {is}");
    }
    broken(
        "no ticks",
        "c02_moov_last.m4a",
        clock(0),
        "MP4, AAC, 44100 Hz x 1: the voice, 6.80 s | header repaired: the clock of track 1 has 0 ticks a second; 44100, the rate of its sound, was taken",
    );
}

#[test]
fn damage_inside() {
    let hole = |f: &mut Vec<u8>| {
        let (from, to) = (f.len() / 2, f.len() / 2 + f.len() / 20);
        f[from..to].fill(0);
    };
    let gone = |f: &mut Vec<u8>| drop(f.drain(f.len() / 2..f.len() / 2 + f.len() / 20));
    broken(
        "MP3, a hole",
        "c05_vbr.mp3",
        hole,
        "MPEG audio, MP3, 44100 Hz x 1: something else, 6.56 s | damage inside: 3359 bytes could not be read; silence of about that length stands there",
    );
    broken(
        "MP3, a part gone",
        "c05_vbr.mp3",
        gone,
        "MPEG audio, MP3, 44100 Hz x 1: something else, 6.22 s | file cut short: its header promises 6.8 s, 6.2 s could be read | damage inside: 67 bytes could not be read; silence of about that length stands there",
    );
    broken(
        "AAC, a hole",
        "voice.aac",
        hole,
        "ADTS, AAC, 16000 Hz x 1: the voice, 3.01 s | damage inside: 1415 bytes could not be read; silence of about that length stands there | no sound could be decoded from 1 frame; silence stands there",
    );
    broken(
        "FLAC, a hole",
        "voice.flac",
        hole,
        "FLAC, FLAC, 16000 Hz x 1: the voice, 3.00 s | 1 gap in the sound by the file's clock, 0.29 s in all: filled with silence, so that times stay right",
    );
    broken(
        "FLAC, a part gone",
        "voice.flac",
        gone,
        "FLAC, FLAC, 16000 Hz x 1: the voice, 3.00 s | 1 gap in the sound by the file's clock, 0.29 s in all: filled with silence, so that times stay right",
    );
    broken(
        "Ogg, a hole",
        "c01_voice.ogg",
        hole,
        "Ogg, Opus, 48000 Hz x 1: something else, 6.79 s | 1 gap in the sound by the file's clock, 1.00 s in all: filled with silence, so that times stay right",
    );
    broken(
        "Ogg, a part gone",
        "c01_voice.ogg",
        gone,
        "Ogg, Opus, 48000 Hz x 1: something else, 6.79 s | 1 gap in the sound by the file's clock, 1.00 s in all: filled with silence, so that times stay right",
    );
    broken(
        "M4A, a hole",
        "c02_moov_last.m4a",
        hole,
        "MP4, AAC, 44100 Hz x 1: the voice, 6.80 s | no sound could be decoded from 13 packets; silence stands there | 2 gaps in the sound by the file's clock, 0.30 s in all: filled with silence, so that times stay right",
    );
    broken(
        "fragments, a hole",
        "voice_fragments.mp4",
        hole,
        "MP4, AAC, 48000 Hz x 1: something else, 3.01 s | no sound could be decoded from 3 packets; silence stands there | damage inside: 6054 bytes could not be read | 1 gap in the sound by the file's clock, 0.58 s in all: filled with silence, so that times stay right",
    );
    broken(
        "MKV, a hole",
        "voice_aac.mkv",
        hole,
        "Matroska or WebM, AAC, 48000 Hz x 1: the voice, 3.01 s | damage inside: 1875 bytes could not be read | no sound could be decoded from 1 packet; silence stands there | 1 gap in the sound by the file's clock, 0.21 s in all: filled with silence, so that times stay right",
    );
    broken(
        "other bytes in front",
        "voice_index_first.m4a",
        |f| drop(f.splice(0..0, [0x55; 100])),
        "MP4, AAC, 16000 Hz x 1: the voice, 3.01 s | left out: 100 bytes of something else before the recording",
    );
    broken(
        "front lost",
        "c05_vbr.mp3",
        |f| drop(f.drain(..5_000)),
        "MPEG audio, MP3, 44100 Hz x 1: something else, 6.37 s | left out: 310 bytes before the first frame of sound",
    );
    broken(
        "front lost",
        "voice.aac",
        |f| drop(f.drain(..5_000)),
        "ADTS, AAC, 16000 Hz x 1: something else, 2.37 s | left out: 330 bytes before the first frame of sound",
    );
    broken(
        "front lost",
        "c01_voice.ogg",
        |f| drop(f.drain(..5_000)),
        "refused: (Ogg): recording was cut off before it was finished: its beginning, which tells how to decode it, is missing",
    );
}

/// What other programs and broken cards put before and behind.
#[test]
fn something_around() {
    let tag = [b"TAG".as_slice(), &[0x20; 125]].concat();
    let ape = [
        b"APETAGEX\xd0\x07\0\0\x40\0\0\0".as_slice(),
        &[0; 16 + 32],
        b"APETAGEX\xd0\x07\0\0\x40\0\0\0",
        &[0; 16],
    ];
    let whole = "FLAC, FLAC, 16000 Hz x 1: the voice, 3.00 s";
    // Its last frame is as long as 0.2 s.
    broken("FLAC, a tag behind", "voice.flac", |f| f.extend(&tag), whole);
    broken("FLAC, two tags behind", "voice.flac", |f| f.extend([ape.concat(), tag.clone()].concat()), whole);
    let zeros = |count: usize| move |f: &mut Vec<u8>| drop(f.splice(0..0, vec![0; count]));
    for (name, was) in [
        ("a00_ok16.wav", "right"),
        ("voice.flac", whole),
        ("c05_vbr.mp3", "MPEG audio, MP3, 44100 Hz x 1: the voice, 6.79 s"),
        ("voice_index_first.m4a", "MP4, AAC, 16000 Hz x 1: the voice, 3.01 s"),
    ] {
        for count in [1024, 65_536, 70_001] {
            let mut file = made::bytes(name);
            zeros(count)(&mut file);
            let is = tell(made::open("x.wav", &file, None));
            // A tag in front of MP3 frames, found together with the zeros, counts with them.
            let told = is.strip_prefix(was).unwrap_or_else(|| panic!("{name}, {count} zeros: {is}"));
            let left_out =
                |what: &str| told.starts_with(&format!(" | left out: {count} bytes of {what} before"));
            let frames = name == "c05_vbr.mp3" && told.contains("before the first frame of sound");
            assert!(left_out("zeros") || frames, "{name}, {count} zeros: {is}");
        }
    }
    broken(
        "a cover behind zeros",
        "c05_vbr.mp3",
        |f| {
            let cover = [b"ID3\x04\0\0\x00\x10\x00\x00".as_slice(), &vec![0xff; 262_144]].concat();
            drop(f.splice(0..0, [vec![0; 30_000], cover].concat()));
        },
        "MPEG audio, MP3, 44100 Hz x 1: the voice, 6.79 s | left out: 30000 bytes of zeros before the recording",
    );
    refuse(
        "zeros",
        &vec![0; 200_000],
        "refused: is not a recording: it holds nothing but zeros: the recorder never wrote the sound",
    );
    let latm = [[0x56, 0xe0, 5].as_slice(), &[1; 5], &[0x56, 0xe1, 0], &[2; 256]].concat();
    refuse("LATM", &latm, "refused: is an AAC stream in LATM packets, which is not read");
}
