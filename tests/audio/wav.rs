//! WAV headers, right and wrong: cases A01, A02, A03, A12 and their relatives.

use crate::made::{self, Wav, chunk, extensible, format, pcm16, tell, voice, wav};

#[track_caller]
fn check(what: &str, file: &Wav, expect: &str) {
    made::same(what, &tell(made::open("x.wav", &file.bytes(), None)), expect);
}

#[test]
fn sizes_that_lie() {
    let right = wav();
    check("a00", &right, "right");
    check(
        "a06: both sizes 0",
        &Wav { data_size: Some(0), riff_size: Some(0), ..wav() },
        "right | header repaired: the recorder left the size of the sound at 0; 217008 bytes up to the end of the file were taken",
    );
    check(
        "a07: data size 0",
        &Wav { data_size: Some(0), ..wav() },
        "right | header repaired: the recorder left the size of the sound at 0; 217008 bytes up to the end of the file were taken",
    );
    check(
        "a08: both sizes never filled in",
        &Wav { data_size: Some(u32::MAX), riff_size: Some(u32::MAX), ..wav() },
        "right | header repaired: the size of the sound was never filled in (0xffffffff); 217008 bytes up to the end of the file were taken",
    );
    check(
        "a09: RIFF size 8 too small",
        &Wav { riff_size: Some(wav().data.len() as u32 + 28), ..wav() },
        "right | header repaired: its first size says 217044 bytes, the file has 217052",
    );
    check(
        "RIFF size of nothing",
        &Wav { riff_size: Some(4), ..wav() },
        "right | header repaired: its first size says 12 bytes, the file has 217052",
    );
    let half = wav().data[..108_504].to_vec();
    check(
        "a10: half of the data is there",
        &Wav { data: half, data_size: Some(217_008), ..wav() },
        "WAV, PCM, 16 bit, 16000 Hz x 1: the voice, 3.39 s | file cut short: its header promises 6.8 s, 3.4 s could be read | header repaired: of the 217008 bytes of sound that the header promises only 108504 are there",
    );
    let stray = [wav().data, vec![7]].concat();
    check(
        "a11: half a sample at the end",
        &Wav { data: stray.clone(), ..wav() },
        "right | left out: 1 byte of an unfinished sample",
    );
    check(
        "a11: and a data size that leaves it out",
        &Wav { data: stray, data_size: Some(217_008), ..wav() },
        "right",
    );
    check(
        "data size that covers a tenth",
        &Wav { data_size: Some(21_700), ..wav() },
        "right | header repaired: behind the sound that the header promises, 195308 more bytes follow without a heading; they were taken as sound too",
    );
    // The declared end falls into a pause, between two samples, or both.
    let pause = [wav().data[..60_000].to_vec(), vec![0; 40_001], wav().data[100_001..].to_vec()].concat();
    for size in [60_000, 60_001, 62_001, 99_000, 100_000] {
        let file = Wav { data: pause.clone(), data_size: Some(size), ..wav() };
        let told = tell(made::open("x.wav", &file.bytes(), None));
        let more = 217_008 - size;
        let expect = format!(
            "right | header repaired: behind the sound that the header promises, {more} more bytes follow without a heading; they were taken as sound too"
        );
        made::same(&format!("its end in a pause, {size}"), &told, &expect);
    }
    check("room that was taken in advance and never used", &Wav { last: vec![0; 100_000], ..wav() }, "right");
    check(
        "no data at all (a16)",
        &Wav { data: Vec::new(), ..wav() },
        "refused: (WAV) holds no sound: not one sample could be decoded (only a header, no samples follow it)",
    );
    check(
        "an empty data chunk, then tags",
        &Wav { data: Vec::new(), last: chunk(*b"LIST", b"INFOISFT\x04\0\0\0abc\0"), ..wav() },
        "refused: (WAV) holds no sound: not one sample could be decoded (only a header, no samples follow it)",
    );
    check(
        "one byte of data",
        &Wav { data: vec![1], ..wav() },
        "refused: (WAV) holds no sound: not one sample could be decoded (1 byte only, which is less than one sample)",
    );
    check(
        "30 ms (a18)",
        &Wav { data: wav().data[40_000..40_960].to_vec(), ..wav() },
        "WAV, PCM, 16 bit, 16000 Hz x 1: the voice 29 ms late, 0.03 s; too short to say how good it is",
    );
    check(
        "tags behind, without a heading",
        &Wav { last: [b"TAG".as_slice(), &[0x20; 2000]].concat(), ..wav() },
        "right",
    );
    let junk: Vec<u8> = (0..3000_u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
    check(
        "noise behind, without a heading",
        &Wav { last: junk, ..wav() },
        "right | left out: 3000 bytes behind the sound that are no sound",
    );
}

#[test]
fn chunks_in_the_way() {
    let odd = [b"note".as_slice(), &5_u32.to_le_bytes(), b"abcde\0"].concat();
    let unpadded = [b"note".as_slice(), &5_u32.to_le_bytes(), b"abcde"].concat();
    check("a12: an odd chunk with its filling byte", &Wav { between: odd.clone(), ..wav() }, "right");
    check(
        "a13: an odd chunk without",
        &Wav { between: unpadded.clone(), ..wav() },
        "right | header repaired: the `note` chunk has an odd size and the filling byte behind it is missing",
    );
    check("odd before the format", &Wav { first: odd, ..wav() }, "right");
    check(
        "odd before the format, without",
        &Wav { first: unpadded, ..wav() },
        "right | header repaired: the `note` chunk has an odd size and the filling byte behind it is missing",
    );
    check("a14: 4 kB of filling first", &Wav { first: chunk(*b"JUNK", &[0; 4096]), ..wav() }, "right");
    check("a22: a list", &Wav { between: chunk(*b"LIST", b"INFOISFT\x05\0\0\0abcde\0"), ..wav() }, "right");
    check("broadcast extension", &Wav { first: chunk(*b"bext", &[0x20; 858]), ..wav() }, "right");
    check("a cover picture", &Wav { between: chunk(*b"id3 ", &vec![0xd8; 70_001]), ..wav() }, "right");
    check("tags behind", &Wav { last: chunk(*b"LIST", b"INFOISFT\x05\0\0\0abcde\0"), ..wav() }, "right");
    let wild = [b"LIST".as_slice(), &0x00ff_ffff_u32.to_le_bytes(), b"INFO"].concat();
    check(
        "a list that claims 16 MB",
        &Wav { between: wild, ..wav() },
        "right | header repaired: the `LIST` chunk claims 16777215 bytes, but the next chunk starts after 4",
    );
    let other = chunk(*b"fmt ", &made::format(1, 1, 8_000, 2, 16, &[]));
    check(
        "two formats",
        &Wav { between: other, ..wav() },
        "right | the header contradicts itself: a second `fmt ` chunk says something else; the first was taken, so check one time in the log",
    );
    check("the same format twice", &Wav { between: chunk(*b"fmt ", &wav().format), ..wav() }, "right");
    let twice = chunk(*b"data", &wav().data);
    check(
        "two data chunks",
        &Wav { last: twice, ..wav() },
        "WAV, PCM, 16 bit, 16000 Hz x 1: the voice, 13.56 s | the sound lies in several data chunks; they were joined in their order",
    );
    let wav = wav();
    let late =
        [b"RIFF\0\0\0\0WAVE".as_slice(), &chunk(*b"data", &wav.data), &chunk(*b"fmt ", &wav.format)].concat();
    made::same("the format behind the data", &tell(made::open("x.wav", &late, None)), "right");
    let no_name = [b"RIFF\0\0\0\0\0\0\0\0".as_slice(), &wav.bytes()[12..]].concat();
    made::same("without the word WAVE", &tell(made::open("x.wav", &no_name, None)), "right");
    let tagged = [b"ID3\x03\0\0\0\0\x01\0".as_slice(), &[0; 128], &wav.bytes()].concat();
    made::same("a tag before everything", &tell(made::open("x.wav", &tagged, None)), "right");
    let shifted = [[0x11; 128].as_slice(), &wav.bytes()].concat();
    made::same(
        "128 other bytes before everything",
        &tell(made::open("x.wav", &shifted, None)),
        "right | left out: 128 bytes of something else before the recording",
    );
}

#[test]
fn formats() {
    let plain = |bytes: usize, sample: &dyn Fn(f32) -> Vec<u8>| -> Vec<u8> {
        let all: Vec<u8> = voice().into_iter().flat_map(sample).collect();
        assert_eq!(all.len(), voice().len() * bytes);
        all
    };
    let whole = |bytes: usize| {
        plain(bytes, &move |s| (((f64::from(s) * 2_f64.powi(31)) as i32).to_le_bytes())[4 - bytes..].to_vec())
    };
    let bits8 = plain(1, &|s| vec![(s * 128.0 + 128.0) as u8]);
    let float = plain(4, &|s| s.to_le_bytes().to_vec());
    let double = plain(8, &|s| f64::from(s).to_le_bytes().to_vec());
    let case = |format: Vec<u8>, data: &[u8]| Wav { format, data: data.to_vec(), ..wav() };

    check(
        "a01: 24 bits, extensible",
        &case(format(0xfffe, 1, 16_000, 3, 24, &extensible(24, 4, 1)), &whole(3)),
        "WAV, PCM, 24 bit, 16000 Hz x 1: the voice, 6.78 s",
    );
    check(
        "a02: 24 bits",
        &case(format(1, 1, 16_000, 3, 24, &[]), &whole(3)),
        "WAV, PCM, 24 bit, 16000 Hz x 1: the voice, 6.78 s",
    );
    check(
        "a03: float, format of 18 bytes",
        &case(format(3, 1, 16_000, 4, 32, &[0, 0]), &float),
        "WAV, PCM, 32 bit float, 16000 Hz x 1: the voice, 6.78 s",
    );
    check(
        "a04: 24 bits in 32",
        &case(format(0xfffe, 1, 16_000, 4, 32, &extensible(24, 1, 1)), &whole(4)),
        "WAV, PCM, 32 bit, 16000 Hz x 1: the voice, 6.78 s",
    );
    check(
        "24 bits in 32 without extension",
        &case(format(1, 1, 16_000, 4, 24, &[]), &whole(4)),
        "WAV, PCM, 32 bit, 16000 Hz x 1: the voice, 6.78 s",
    );
    check(
        "a05: float, format of 40 bytes, extension 0",
        &case(format(3, 1, 16_000, 4, 32, &[0; 24]), &float),
        "WAV, PCM, 32 bit float, 16000 Hz x 1: the voice, 6.78 s",
    );
    check(
        "extensible float",
        &case(format(0xfffe, 1, 16_000, 4, 32, &extensible(32, 4, 3)), &float),
        "WAV, PCM, 32 bit float, 16000 Hz x 1: the voice, 6.78 s",
    );
    check(
        "extensible without its sub format",
        &case(format(0xfffe, 1, 16_000, 4, 32, &[0, 0]), &float),
        "WAV, PCM, 32 bit float, 16000 Hz x 1: the voice, 6.78 s | header repaired: it does not say whether its 32 bits are whole numbers or floats; PCM, 32 bit float was taken",
    );
    check(
        "the same with whole numbers",
        &case(format(0xfffe, 1, 16_000, 4, 32, &[0, 0]), &whole(4)),
        "WAV, PCM, 32 bit, 16000 Hz x 1: the voice, 6.78 s | header repaired: it does not say whether its 32 bits are whole numbers or floats; PCM, 32 bit was taken",
    );
    check(
        "8 bits",
        &case(format(1, 1, 16_000, 1, 8, &[]), &bits8),
        "WAV, PCM, 8 bit, 16000 Hz x 1: the voice, 6.78 s",
    );
    check(
        "64-bit float",
        &case(format(3, 1, 16_000, 8, 64, &[]), &double),
        "WAV, PCM, 64 bit float, 16000 Hz x 1: the voice, 6.78 s",
    );
    check("14 bytes of format", &case(format(1, 1, 16_000, 2, 16, &[])[..14].to_vec(), &whole(2)), "right");
    let mut mixed = float;
    for (n, bad) in [f32::NAN, f32::INFINITY, 3.4e38].into_iter().enumerate() {
        mixed[4 * n * 9000..][..4].copy_from_slice(&bad.to_le_bytes());
    }
    check(
        "float with what is no number",
        &case(format(3, 1, 16_000, 4, 32, &[0, 0]), &mixed),
        "WAV, PCM, 32 bit float, 16000 Hz x 1: the voice, 6.78 s | taken as silence: 3 samples whose value is no number",
    );
}

/// The format with one wrong word in it.
#[track_caller]
fn wrong(what: &str, at: usize, value: u16, expect: &str) {
    let mut format = wav().format;
    format[at..at + 2].copy_from_slice(&value.to_le_bytes());
    check(what, &Wav { format, ..wav() }, expect);
}

#[test]
fn fields_that_contradict() {
    wrong(
        "block size 0",
        12,
        0,
        "right | header repaired: 1 x 16 bits in blocks of 0 bytes is a contradiction; 1 x PCM, 16 bit was taken",
    );
    wrong(
        "block size 1",
        12,
        1,
        "right | header repaired: 1 x 16 bits in blocks of 1 bytes is a contradiction; 1 x PCM, 16 bit was taken",
    );
    wrong(
        "block size 4",
        12,
        4,
        "right | header repaired: 1 x 16 bits in blocks of 4 bytes is a contradiction; 1 x PCM, 16 bit was taken",
    );
    wrong(
        "bits 0",
        14,
        0,
        "right | header repaired: 1 x 0 bits in blocks of 2 bytes is a contradiction; 1 x PCM, 16 bit was taken",
    );
    wrong(
        "bits 8",
        14,
        8,
        "right | header repaired: 1 x 8 bits in blocks of 2 bytes is a contradiction; 1 x PCM, 16 bit was taken",
    );
    wrong(
        "bits 24",
        14,
        24,
        "right | header repaired: 1 x 24 bits in blocks of 2 bytes is a contradiction; 1 x PCM, 16 bit was taken",
    );
    wrong(
        "bits 999",
        14,
        999,
        "right | header repaired: 1 x 999 bits in blocks of 2 bytes is a contradiction; 1 x PCM, 16 bit was taken",
    );
    wrong(
        "2 channels",
        2,
        2,
        "right | header repaired: 2 x 16 bits in blocks of 2 bytes is a contradiction; 1 x PCM, 16 bit was taken",
    );
    wrong(
        "no channels (a20 has none anywhere)",
        2,
        0,
        "right | header repaired: 0 x 16 bits in blocks of 2 bytes is a contradiction; 1 x PCM, 16 bit was taken",
    );
    wrong(
        "999 channels",
        2,
        999,
        "right | header repaired: 999 x 16 bits in blocks of 2 bytes is a contradiction; 1 x PCM, 16 bit was taken",
    );
    wrong(
        "bytes per second of another rate",
        8,
        44_100,
        "right | the header contradicts itself: 16000 samples per second, but bytes for 22050; 16000 was taken, so check one time in the log",
    );
    wrong("rate 0 (a21)", 4, 0, "refused: (WAV): the header says 0 samples per second");
}

#[test]
fn fields_that_refuse() {
    wrong("GSM", 0, 0x31, "refused: is WAV, but its sound is GSM 6.10, for which there is no decoder here");
    wrong(
        "an unknown tag",
        0,
        0x4321,
        "refused: is WAV, but its sound is of an unknown kind (format tag 0x4321), for which there is no decoder here",
    );
    let none = format(1, 0, 16_000, 0, 16, &[]);
    check(
        "a20: no channels, no block",
        &Wav { format: none, ..wav() },
        "refused: (WAV): the header says 0 channels",
    );
    let pair = pcm16(&[voice(), voice()]);
    let mut format = format(1, 1, 16_000, 4, 16, &[]);
    check(
        "two channels called one",
        &Wav { format: format.clone(), data: pair, ..wav() },
        "WAV, PCM, 16 bit, 16000 Hz x 2: the voice, 6.78 s; the left channel; the other is the same | header repaired: 1 x 16 bits in blocks of 4 bytes is a contradiction; 2 x PCM, 16 bit was taken",
    );
    format.truncate(10);
    check(
        "the format breaks off",
        &Wav { format, ..wav() },
        "refused: (WAV) is damaged: its header breaks off inside the `fmt ` chunk",
    );
    let bytes = &wav().bytes()[..30];
    made::same(
        "a19: cut inside the format",
        &tell(made::open("x.wav", bytes, None)),
        "refused: (WAV) is damaged: its header breaks off inside the `fmt ` chunk",
    );
    made::same(
        "cut inside the first words",
        &tell(made::open("x.wav", &bytes[..11], None)),
        "refused: is not a recording: no known kind of sound or video file starts in it",
    );
}

#[test]
fn large_and_foreign() {
    let wav = wav();
    let size = wav.data.len() as u64;
    let sizes = chunk(*b"ds64", &[&(size + 72).to_le_bytes()[..], &size.to_le_bytes(), &[0; 12]].concat());
    let large = |magic| {
        let (riff_size, data_size) = (Some(u32::MAX), Some(u32::MAX));
        Wav { magic, riff_size, first: sizes.clone(), data_size, ..wav.clone() }
    };
    check("RF64", &large(*b"RF64"), "WAV (64 bit), PCM, 16 bit, 16000 Hz x 1: the voice, 6.78 s");
    check("BW64", &large(*b"BW64"), "WAV (64 bit), PCM, 16 bit, 16000 Hz x 1: the voice, 6.78 s");
    let lying = chunk(*b"ds64", &[0xff; 28]);
    check(
        "64-bit sizes that lie",
        &Wav { magic: *b"RF64", first: lying, data_size: Some(u32::MAX), ..wav.clone() },
        "WAV (64 bit), PCM, 16 bit, 16000 Hz x 1: the voice, 6.78 s | header repaired: the size of the sound was never filled in (0xffffffffffffffff); 217008 bytes up to the end of the file were taken",
    );

    let swapped: Vec<u8> = wav.data.chunks(2).flat_map(|s| [s[1], s[0]]).collect();
    let size = (swapped.len() as u32).to_be_bytes();
    let format = b"\0\x01\0\x01\0\0\x3e\x80\0\0\x7d\0\0\x02\0\x10";
    let rifx = [b"RIFX\0\0\0\0WAVEfmt \0\0\0\x10".as_slice(), format, b"data", &size, &swapped].concat();
    made::same(
        "big-endian",
        &tell(made::open("x.wav", &rifx, None)),
        "WAV (big-endian), PCM, 16 bit, 16000 Hz x 1: the voice, 6.78 s",
    );
}
