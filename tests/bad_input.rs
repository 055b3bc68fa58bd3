//! Broken input, clause by clause: what is said, what could still be read, and that nothing panics.
use std::f64::consts::TAU;
use std::fs;
use std::io::{Cursor, Read};
use std::path::PathBuf;

use engine_note::capture::{Clip, Fault, Foreign, RawFormat, Source, Warning, open};
use engine_note::units::Seconds;
use proptest::prelude::*;

fn fixture(file: &str) -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
        .join("fixtures/formats")
        .join(file)
}

fn bytes(file: &str) -> Vec<u8> {
    fs::read(fixture(file)).unwrap()
}

/// All samples, and the warnings at the end.
fn read(clip: Clip) -> Result<(Vec<f32>, Vec<Warning>), Fault> {
    let mut clip = clip;
    let (mut all, mut block) = (Vec::new(), Vec::new());
    loop {
        match clip.next_block(&mut block) {
            Ok(true) => {
                assert!(!block.is_empty() && block.len() % clip.facts().channels == 0);
                assert!(block.len() <= 9 * 65_536, "a block of {}", block.len());
                assert!(block.iter().all(|x| x.is_finite()));
                all.extend_from_slice(&block);
            }
            Ok(false) => return Ok((all, clip.warnings().to_vec())),
            Err(fault) => {
                said_well(&fault.to_string(), &fault.hint());
                assert_eq!(
                    clip.next_block(&mut block),
                    Ok(false),
                    "the end comes after a fault"
                );
                return Err(fault);
            }
        }
    }
}

fn read_bytes(bytes: impl Into<Vec<u8>>) -> Result<(Vec<f32>, Vec<Warning>), Fault> {
    match Clip::from_bytes(Cursor::new(bytes.into())) {
        Ok(clip) => read(clip),
        Err(fault) => {
            said_well(&fault.to_string(), &fault.hint());
            Err(fault)
        }
    }
}

fn fault(bytes: impl Into<Vec<u8>>) -> Fault {
    read_bytes(bytes).expect_err("a fault")
}

/// One line that says what is wrong and one that says what to do, both without a final full stop.
fn said_well(text: &str, hint: &str) {
    for line in [text, hint] {
        assert!(
            line.len() > 10 && !line.contains('\n') && !line.ends_with('.'),
            "{line:?}"
        );
        assert!(
            line.starts_with(|c: char| !c.is_uppercase() || text.contains("recordings")),
            "{line:?}"
        );
    }
}

fn wav_of(tag: u16, bits: u16, rate: u32, channels: u16, data: &[u8]) -> Vec<u8> {
    let align = channels * bits / 8;
    let mut bytes = b"RIFF".to_vec();
    bytes.extend((36 + data.len() as u32).to_le_bytes());
    bytes.extend(b"WAVEfmt \x10\0\0\0");
    bytes.extend(tag.to_le_bytes());
    bytes.extend(channels.to_le_bytes());
    bytes.extend(rate.to_le_bytes());
    bytes.extend((rate.wrapping_mul(align.into())).to_le_bytes());
    bytes.extend(align.to_le_bytes());
    bytes.extend(bits.to_le_bytes());
    bytes.extend(b"data");
    bytes.extend((data.len() as u32).to_le_bytes());
    bytes.extend(data);
    bytes
}

/// 16-bit mono at 48 kHz.
fn wav(samples: impl Iterator<Item = f64>) -> Vec<u8> {
    let data: Vec<u8> = samples
        .flat_map(|x| ((x * 32_768.0).round() as i16).to_le_bytes())
        .collect();
    wav_of(1, 16, 48_000, 1, &data)
}

fn float_wav(samples: impl Iterator<Item = f32>) -> Vec<u8> {
    let data: Vec<u8> = samples.flat_map(f32::to_le_bytes).collect();
    wav_of(3, 32, 48_000, 1, &data)
}

fn tone(seconds: f64) -> impl Iterator<Item = f64> {
    (0..(seconds * 48_000.0) as u32).map(|n| 0.5 * (TAU * 440.0 * f64::from(n) / 48_000.0).sin())
}

fn with_data_length(mut wav: Vec<u8>, length: u32) -> Vec<u8> {
    wav[40..44].copy_from_slice(&length.to_le_bytes());
    wav
}

// ---- cut off: what could be read, plus a warning

#[test]
fn cut_off_wav_gives_what_is_there() {
    let whole = wav(tone(2.0));
    let (samples, warnings) = read_bytes(&whole[..44 + 96_001]).unwrap();
    assert_eq!(samples.len(), 48_000);
    let (read, declared) = (Seconds(1.0), Some(Seconds(2.0)));
    assert_eq!(warnings, [Warning::CutOff { read, declared }]);
    said_well(&warnings[0].to_string(), warnings[0].hint());
    assert_eq!(
        warnings[0].to_string(),
        "the clip is cut off: only 1.00 s of 2.00 s could be read"
    );
}

/// Kinds whose head stands first; a bare MP3 and raw AAC say nowhere how long they are.
const STREAMS: [&str; 15] = [
    "plain.flac",
    "stereo.flac",
    "flac.oga",
    "cbr.mp3",
    "stereo.mp3",
    "vorbis.ogg",
    "vorbis.webm",
    "index-first.m4a",
    "s16.caf",
    "s16.aiff",
    "s24.aif",
    "f32.aifc",
    "voice.opus",
    "stereo.opus",
    "opus.webm",
];

#[test]
fn cut_off_clips_of_each_kind_give_what_is_there() {
    for file in STREAMS {
        let whole = bytes(file);
        let clip = Clip::from_bytes(Cursor::new(whole.clone())).unwrap();
        let per_second = clip.facts().sample_rate as usize * clip.facts().channels;
        let (all, warnings) = read(clip).unwrap();
        assert_eq!(warnings, [], "{file}");
        // Half of the Vorbis clip is its codebook.
        let share = if file == "vorbis.ogg" { 0.9 } else { 0.8 };
        let cut = whole[..(whole.len() as f64 * share) as usize].to_vec();
        let (part, warnings) = read_bytes(cut).expect(file);
        let lost = (all.len() as f64 - part.len() as f64) / per_second as f64;
        assert!((0.1..0.5).contains(&lost), "{file}: {lost} s lost");
        // What was decoded before the cut is the same sound.
        let same = part.len().saturating_sub(per_second / 8);
        assert!(part[..same] == all[..same], "{file}");
        let [Warning::CutOff { read, declared }] = warnings[..] else {
            panic!("{file}: {warnings:?}");
        };
        assert!(
            (read.0 - part.len() as f64 / per_second as f64).abs() < 0.03,
            "{file}: {read}"
        );
        assert!(
            declared.is_none_or(|declared| declared.0 > read.0),
            "{file}"
        );
    }
}

#[test]
fn mp3_that_ends_early_is_noticed_from_its_declared_length() {
    for file in ["cbr.mp3", "vbr.mp3", "stereo.mp3"] {
        let whole = bytes(file);
        let (_, warnings) = read_bytes(&whole[..whole.len() * 7 / 10]).unwrap();
        let [
            Warning::CutOff {
                read,
                declared: Some(declared),
            },
        ] = warnings[..]
        else {
            panic!("{file}: {warnings:?}");
        };
        assert!(
            (declared.0 - 1.0).abs() < 0.05 && read.0 < 0.85,
            "{file}: {read} of {declared}"
        );
    }
}

#[test]
fn m4a_that_the_phone_never_finished_says_so() {
    for file in [
        "aac.m4a", "aac.mp4", "aac.mov", "aac.3gp", "alac.m4a", "film.mp4",
    ] {
        let whole = bytes(file);
        let fault = fault(&whole[..whole.len() * 6 / 10]);
        assert_eq!(fault, Fault::Unfinished, "{file}");
        assert!(fault.to_string().contains("before the phone finished it"));
    }
}

#[test]
fn fragments_need_no_end() {
    let whole = bytes("fragments.mp4");
    let (part, _) = read_bytes(&whole[..whole.len() * 8 / 10]).unwrap();
    assert!((22_050..46_080).contains(&part.len()), "{}", part.len());
}

/// An Ogg page with a wrong checksum is lost, here 0.2 s. The library notices a page late, and from
/// there on all is in its place.
#[test]
fn damage_in_the_middle_becomes_silence_and_the_time_goes_on() {
    for file in ["voice.opus", "stereo.opus"] {
        let whole = bytes(file);
        let clip = Clip::from_bytes(Cursor::new(whole.clone())).unwrap();
        let per_second = (clip.facts().sample_rate as usize * clip.facts().channels) as f64;
        let (all, _) = read(clip).unwrap();
        let mut broken = whole;
        let middle = broken.len() * 45 / 100;
        broken[middle] ^= 0x55;
        let (samples, warnings) = read_bytes(broken).unwrap();
        let [Warning::Damaged { parts, length }] = warnings[..] else {
            panic!("{file}: {warnings:?}");
        };
        said_well(&warnings[0].to_string(), warnings[0].hint());
        assert!(
            parts > 0 && (0.1..0.35).contains(&length.0),
            "{file}: {length}"
        );
        assert!(
            (samples.len() as f64 - all.len() as f64).abs() < 0.01 * per_second,
            "{file}"
        );
        let silent = samples
            .windows(64)
            .filter(|part| part.iter().all(|x| *x == 0.0))
            .count();
        assert!(
            (silent as f64 / per_second - length.0).abs() < 0.01,
            "{file}: {silent}, {length}"
        );
        // The end, where coders have settled again.
        let tail = |all: &[f32]| all[all.len() - (per_second * 0.15) as usize..].to_vec();
        let off = tail(&samples)
            .iter()
            .zip(tail(&all))
            .map(|(a, b)| (a - b).abs())
            .fold(0.0, f32::max);
        assert!(off < 0.05, "{file}: {off}");
    }
}

// ---- nothing readable, wrong format, a directory

#[test]
fn nothing_readable_says_so() {
    assert_eq!(fault([]), Fault::Empty);
    assert_eq!(fault([0; 100_000]), Fault::Unknown);
    let noise: Vec<u8> = (0..50_000_u32)
        .map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8)
        .collect();
    assert!(matches!(
        fault(noise),
        Fault::Unknown | Fault::Broken { .. } | Fault::TooShort { .. }
    ));
}

#[test]
fn text_is_no_recording() {
    assert_eq!(
        fault("name = \"trimmer\"\nuse = \"trimmer head\"\n".repeat(40)),
        Fault::Text
    );
    assert_eq!(fault("Änderung\n"), Fault::Text);
    assert_eq!(fault("é".repeat(400)), Fault::Text);
}

#[test]
fn known_but_foreign_kinds_name_the_conversion_command() {
    for (file, kind) in [
        ("refused.amr", Foreign::Amr),
        ("refused.3gp", Foreign::Amr),
        ("refused.wma", Foreign::Wma),
    ] {
        let fault = open(&Source::File(fixture(file))).err().unwrap();
        assert!(
            matches!(&fault, Fault::Foreign { kind: found, .. } if *found == kind),
            "{fault:?}"
        );
        let command = format!("`ffmpeg -i {}", fixture(file).display());
        assert!(fault.hint().contains(&command), "{}", fault.hint());
        assert!(fault.hint().ends_with(".wav`"));
    }
    assert!(fault(bytes("refused.amr")).hint().contains("`ffmpeg -i "));
}

#[test]
fn wrong_ending_does_not_matter() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("clip.wav");
    fs::copy(fixture("aac.m4a"), &path).unwrap();
    assert!(read(open(&Source::File(path)).unwrap()).is_ok());
}

#[test]
fn folders_and_missing_files_say_so() {
    let folder = tempfile::tempdir().unwrap();
    let at = |path: PathBuf| open(&Source::File(path)).err();
    assert_eq!(at(folder.path().into()), Some(Fault::Directory));
    assert_eq!(at(folder.path().join("no.wav")), Some(Fault::Missing));
}

// ---- no samples, data length 0 or longer than the file

#[test]
fn no_samples() {
    assert_eq!(fault(wav(std::iter::empty())), Fault::NoSamples);
    assert_eq!(fault(&wav(tone(1.0))[..44]), Fault::NoSamples);
    assert_eq!(fault(&wav(tone(1.0))[..30]), Fault::NoSamples);
}

#[test]
fn data_length_zero_reads_to_the_end_and_says_so() {
    let (samples, warnings) = read_bytes(with_data_length(wav(tone(1.0)), 0)).unwrap();
    assert_eq!(samples.len(), 48_000);
    assert_eq!(warnings, [Warning::LengthMissing { read: Seconds(1.0) }]);
    said_well(&warnings[0].to_string(), warnings[0].hint());
}

#[test]
fn data_length_beyond_the_file_reads_to_the_end_and_says_so() {
    let (samples, warnings) = read_bytes(with_data_length(wav(tone(1.0)), 960_000)).unwrap();
    assert_eq!(samples.len(), 48_000);
    let (read, declared) = (Seconds(1.0), Some(Seconds(10.0)));
    assert_eq!(warnings, [Warning::CutOff { read, declared }]);
    for unknown in [0x7FFF_FFFF, u32::MAX] {
        let (samples, warnings) = read_bytes(with_data_length(wav(tone(1.0)), unknown)).unwrap();
        assert_eq!(samples.len(), 48_000);
        assert_eq!(warnings, [Warning::LengthMissing { read: Seconds(1.0) }]);
    }
}

#[test]
fn pipe_that_ends_is_no_cut_off_clip() {
    for length in [0, 96_000, 960_000, 0x7FFF_FFFF, u32::MAX] {
        let clip = Clip::from_pipe(Cursor::new(with_data_length(wav(tone(1.0)), length))).unwrap();
        let (samples, warnings) = read(clip).unwrap();
        assert_eq!((samples.len(), warnings), (48_000, vec![]), "{length}");
    }
    let raw = wav(tone(1.0))[44..].to_vec();
    let format: RawFormat = "s16le:48000:1".parse().unwrap();
    let (samples, warnings) = read(Clip::from_raw(Cursor::new(raw), format).unwrap()).unwrap();
    assert_eq!((samples.len(), warnings), (48_000, vec![]));
}

/// A block comes as soon as its bytes are there, not when a buffer is full.
#[test]
fn pipe_is_read_while_it_is_being_written() {
    struct Growing(
        std::sync::mpsc::Receiver<Vec<u8>>,
        std::sync::Mutex<Vec<u8>>,
    );
    impl Read for Growing {
        fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
            let mut waiting = self.1.lock().unwrap();
            if waiting.is_empty() {
                *waiting = self
                    .0
                    .try_recv()
                    .expect("nothing is read before it was written");
            }
            let count = buffer.len().min(waiting.len());
            buffer[..count].copy_from_slice(&waiting[..count]);
            waiting.drain(..count);
            Ok(count)
        }
    }
    // The receiver is used by one thread at a time, as the lock says.
    struct Shared(std::sync::Mutex<Growing>);
    impl Read for Shared {
        fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
            self.0.lock().unwrap().read(buffer)
        }
    }
    let (send, receive) = std::sync::mpsc::channel();
    let wav = with_data_length(wav(tone(1.0)), u32::MAX);
    send.send(wav[..44].to_vec()).unwrap();
    let pipe = Shared(std::sync::Mutex::new(Growing(receive, Vec::new().into())));
    let mut clip = Clip::from_pipe(pipe).unwrap();
    assert_eq!(clip.facts().seconds, None);
    let mut block = Vec::new();
    for part in wav[44..].chunks(960) {
        send.send(part.to_vec()).unwrap();
        assert_eq!(clip.next_block(&mut block), Ok(true));
        assert_eq!(block.len(), part.len() / 2);
    }
}

// ---- sample rate outside 8 to 192 kHz, too many channels

#[test]
fn sample_rate_out_of_range() {
    for rate in [0, 1, 4_000, 7_999, 192_001, 384_000, 4_000_000_000] {
        assert_eq!(
            fault(wav_of(1, 16, rate, 1, &[1; 96_000])),
            Fault::SampleRate { rate }
        );
    }
    for rate in [8_000, 192_000] {
        let data: Vec<u8> = (0..400_000_u32)
            .map(|n| (n.wrapping_mul(n) % 251) as u8)
            .collect();
        assert!(read_bytes(wav_of(1, 16, rate, 1, &data)).is_ok());
    }
    // The same by way of the decoder library: 4,000 as an 80-bit float in an AIFF.
    let mut aiff = bytes("s16.aiff");
    let at = aiff.windows(4).position(|id| id == b"COMM").unwrap() + 16;
    aiff[at..at + 10].copy_from_slice(&[0x40, 0x0a, 0xfa, 0, 0, 0, 0, 0, 0, 0]);
    assert_eq!(fault(aiff), Fault::SampleRate { rate: 4_000 });
}

#[test]
fn channels_out_of_range() {
    for channels in [0, 9, 64] {
        let found = fault(wav_of(1, 16, 48_000, channels, &[1; 96_000]));
        assert_eq!(
            found,
            Fault::Channels {
                channels: channels.into()
            }
        );
    }
}

// ---- NaN or infinite samples

#[test]
fn few_samples_that_are_no_numbers_become_zero_with_a_warning() {
    let sound = tone(1.0).enumerate().map(|(n, x)| match n {
        100 => f32::NAN,
        200 => f32::INFINITY,
        300 => f32::NEG_INFINITY,
        _ => x as f32,
    });
    let (samples, warnings) = read_bytes(float_wav(sound)).unwrap();
    assert_eq!((samples[100], samples[200], samples[300]), (0.0, 0.0, 0.0));
    assert_eq!(warnings, [Warning::NotFinite { samples: 3 }]);
    said_well(&warnings[0].to_string(), warnings[0].hint());
}

#[test]
fn samples_that_are_mostly_no_numbers_are_a_fault() {
    let sound = tone(1.0)
        .enumerate()
        .map(|(n, x)| if n % 3 == 0 { x as f32 } else { f32::NAN });
    let Fault::NotFinite { share } = fault(float_wav(sound)) else {
        panic!("another fault");
    };
    assert!((share - 2.0 / 3.0).abs() < 1e-4);
}

// ---- all zeros, heavily clipped, too short to judge

#[test]
fn all_zeros() {
    let length = Seconds(2.0);
    assert_eq!(
        fault(wav((0..96_000).map(|_| 0.0))),
        Fault::Silent { value: 0.0, length }
    );
    let fault = fault(wav((0..96_000).map(|_| 0.25)));
    assert_eq!(
        fault,
        Fault::Silent {
            value: 0.25,
            length
        }
    );
    assert_eq!(
        fault.to_string(),
        "the recording is silent: all samples are equal"
    );
}

#[test]
fn heavily_clipped() {
    // Flat for 1 - 2 asin(0.5) / pi = two thirds of the time, at full scale and well below it.
    for top in [32_767.0 / 32_768.0, 0.4] {
        let (_, warnings) =
            read_bytes(wav(tone(1.0).map(|x| x.clamp(-0.25, 0.25) * top / 0.25))).unwrap();
        let [Warning::Clipped { share }] = warnings[..] else {
            panic!("{warnings:?}");
        };
        assert!((share - 2.0 / 3.0).abs() < 0.02, "{share}");
        said_well(&warnings[0].to_string(), warnings[0].hint());
    }
}

#[test]
fn too_short_to_judge() {
    let length = Seconds(0.4);
    assert_eq!(fault(wav(tone(0.4))), Fault::TooShort { length });
    assert!(read_bytes(wav(tone(0.5))).is_ok());
}

// ---- never a panic, whatever comes

/// A clip of each kind.
const KINDS: [&str; 21] = [
    "s16.wav",
    "rf64.wav",
    "adpcm.wav",
    "mulaw.wav",
    "plain.flac",
    "flac.oga",
    "cbr.mp3",
    "vbr.mp3",
    "vorbis.ogg",
    "vorbis.webm",
    "aac.m4a",
    "index-first.m4a",
    "film.mp4",
    "fragments.mp4",
    "adts.aac",
    "alac.m4a",
    "alac.caf",
    "s16.aiff",
    "voice.opus",
    "slow.opus",
    "opus.webm",
];

#[derive(Clone, Debug)]
enum Mutation {
    Truncate(prop::sample::Index),
    Flip(prop::sample::Index, u8),
    Head(prop::sample::Index, u8),
    Block(prop::sample::Index, Vec<u8>),
    Remove(prop::sample::Index, usize),
}

fn mutation() -> impl Strategy<Value = Mutation> {
    let index = any::<prop::sample::Index>;
    prop_oneof![
        index().prop_map(Mutation::Truncate),
        (index(), any::<u8>()).prop_map(|(at, bits)| Mutation::Flip(at, bits)),
        (index(), any::<u8>()).prop_map(|(at, byte)| Mutation::Head(at, byte)),
        (index(), prop::collection::vec(any::<u8>(), 1..64))
            .prop_map(|(at, block)| Mutation::Block(at, block)),
        (index(), 1_usize..500).prop_map(|(at, count)| Mutation::Remove(at, count)),
    ]
}

fn mutate(bytes: &mut Vec<u8>, mutation: &Mutation) {
    if bytes.is_empty() {
        return;
    }
    let len = bytes.len();
    match mutation {
        Mutation::Truncate(at) => bytes.truncate(at.index(len)),
        Mutation::Flip(at, bits) => bytes[at.index(len)] ^= bits,
        Mutation::Head(at, byte) => bytes[at.index(len.min(128))] = *byte,
        Mutation::Block(at, block) => {
            let at = at.index(len);
            let end = len.min(at + block.len());
            bytes[at..end].copy_from_slice(&block[..end - at]);
        }
        Mutation::Remove(at, count) => {
            let at = at.index(len);
            bytes.drain(at..len.min(at + count));
        }
    }
}

/// Gives bytes in pieces of the sizes given, as a pipe does.
struct Dribble {
    bytes: Cursor<Vec<u8>>,
    sizes: Vec<usize>,
    turn: usize,
}

impl Read for Dribble {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        self.turn += 1;
        let size = self.sizes[self.turn % self.sizes.len()].min(buffer.len());
        self.bytes.read(&mut buffer[..size])
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn mutated_clips_never_panic(
        kind in 0..KINDS.len(),
        mutations in prop::collection::vec(mutation(), 1..6),
    ) {
        let mut bytes = bytes(KINDS[kind]);
        mutations.iter().for_each(|one| mutate(&mut bytes, one));
        let _ = read_bytes(bytes.clone());
        if let Ok(clip) = Clip::from_pipe(Cursor::new(bytes)) {
            let _ = read(clip);
        }
    }

    #[test]
    fn random_bytes_never_panic(
        start in prop::sample::select(vec![
            &b""[..], b"RIFF\0\0\0\0WAVEfmt ", b"fLaC", b"OggS", b"ID3", b"\xff\xfb", b"\xff\xf1",
            b"\0\0\0\x18ftypM4A ", b"caff\0\x01\0\0desc", b"FORM\0\0\0\xffAIFF", b"\x1a\x45\xdf\xa3",
        ]),
        rest in prop::collection::vec(any::<u8>(), 0..4_000),
    ) {
        let bytes = [start, &rest].concat();
        let _ = read_bytes(bytes.clone());
        if let Ok(clip) = Clip::from_pipe(Cursor::new(bytes)) {
            let _ = read(clip);
        }
    }

    #[test]
    fn raw_streams_never_panic(
        coding in prop::sample::select(vec!["u8", "s16le", "s24le", "s32le", "f32le"]),
        channels in 1..=8,
        bytes in prop::collection::vec(any::<u8>(), 0..9_000),
    ) {
        let format: RawFormat = format!("{coding}:8000:{channels}").parse().unwrap();
        let _ = read(Clip::from_raw(Cursor::new(bytes), format).unwrap());
    }

    #[test]
    fn raw_formats_never_panic(text in "\\PC{0,30}") {
        let _ = text.parse::<RawFormat>();
    }

    /// However the bytes of a pipe come, the samples are the same.
    #[test]
    fn sizes_of_reads_change_nothing(
        kind in prop::sample::select(vec!["s16.wav", "s24.wav", "eight.wav", "cbr.mp3", "voice.opus"]),
        sizes in prop::collection::vec(1_usize..5_000, 1..20),
    ) {
        let whole = read(Clip::from_pipe(Cursor::new(bytes(kind))).unwrap()).unwrap();
        let pipe = Dribble { bytes: Cursor::new(bytes(kind)), sizes, turn: 0 };
        prop_assert_eq!(read(Clip::from_pipe(pipe).unwrap()).unwrap(), whole);
    }
}
