//! Clips that cannot be read: code 3, one line, one hint.
use super::bench::{Bench, RATE, float_wav, headed, json, noise, told, tone, wav, words};

macro_rules! broken {
    ($($test:ident: $name:expr, $bytes:expr;)*) => { $(
        #[test]
        fn $test() {
            let bench = Bench::new();
            bench.file($name, AsRef::<[u8]>::as_ref(&$bytes));
            for format in ["text", "json"] {
                let output = bench.output(&["read", $name, "--format", format]);
                let told = told(&output);
                assert_eq!(output.status.code(), Some(3), "{told}");
                assert!(output.stdout.is_empty(), "{told}");
                let err = String::from_utf8(output.stderr).unwrap();
                let starts: Vec<_> = err.lines().map(|l| l.split(' ').next().unwrap_or("")).collect();
                assert_eq!(starts, ["error:", "hint:"], "{told}");
                insta::assert_snapshot!(stringify!($test), told);
            }
        }
    )* };
}

broken! {
    broken_empty_file: "clip.wav", [0u8; 0];
    broken_text: "clip.wav", b"This is a letter, not a recording.\n".repeat(30);
    broken_noise: "clip.wav", noise(5_000);
    broken_amr: "voice note.amr", [b"#!AMR\n".as_slice(), &noise(2_000)].concat();
    broken_m4a_never_finished: "clip.m4a", [b"\0\0\0\x18ftypM4A \0\0\0\0M4A mp42\0\x01\0\0mdat".as_slice(), &noise(60_000)].concat();
    broken_no_samples: "clip.wav", headed(RATE, 1, 0, &[]);
    broken_rate_too_low: "clip.wav", headed(4_000, 1, 8_000, &noise(8_000));
    broken_rate_too_high: "clip.wav", headed(400_000, 1, 8_000, &noise(8_000));
    broken_too_many_channels: "clip.wav", headed(RATE, 9, 18_000, &noise(18_000));
    broken_too_short: "clip.wav", wav(tone(0.2, 6_000.0, 0.5));
    broken_not_a_number: "clip.wav", float_wav((0..RATE).map(|_| f32::NAN));
    broken_infinite: "clip.wav", float_wav((0..RATE).map(|_| f32::INFINITY));
}

#[test]
fn broken_missing_file() {
    insta::assert_snapshot!(Bench::new().run(&["read", "missing.wav"]));
}

#[test]
fn broken_folder_without_clips() {
    let bench = Bench::new();
    bench.file("notes/list.txt", b"nothing to hear");
    insta::assert_snapshot!(bench.run(&["read", "notes"]));
}

#[test]
fn all_zeros_is_heard_and_named() {
    let bench = Bench::new();
    bench.wav("clip.wav", (0..3 * RATE).map(|_| 0.0));
    let output = bench.output(&["read", "clip.wav", "--format", "json"]);
    assert_eq!(output.status.code(), Some(4));
    let result = json(&output);
    assert!(
        result["frames"]
            .as_array()
            .unwrap()
            .iter()
            .all(|frame| frame["rpm"].is_null())
    );
    insta::assert_snapshot!(words(&String::from_utf8(output.stderr).unwrap()));
}
