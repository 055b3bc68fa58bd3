//! Command lines and files that are wrong: code 2, one line, one hint.
use std::path::Path;

use super::bench::{Bench, told, tone};

macro_rules! refusals {
    ($($test:ident: $arguments:expr;)*) => { $(
        #[test]
        fn $test() {
            let bench = Bench::new();
            bench.file("empty.toml", b"").wav("a.wav", tone(1.0, 6_000.0, 0.5));
            let output = bench.output($arguments);
            assert_eq!(output.status.code(), Some(2), "{}", told(&output));
            assert!(output.stdout.is_empty());
            insta::assert_snapshot!(told(&output));
        }
    )* };
}

refusals! {
    usage_nothing_given: &[];
    usage_unknown_command: &["weigh"];
    usage_read_without_clip: &["read"];
    usage_unknown_format: &["read", "a.wav", "--format", "xml"];
    usage_five_cylinders: &["read", "a.wav", "--cylinders", "5"];
    usage_speed_range_backwards: &["read", "a.wav", "--speed-range", "9000:1000"];
    usage_speed_range_too_wide: &["read", "a.wav", "--speed-range", "1:1000000"];
    usage_raw_that_is_none: &["read", "-", "--raw", "mp3:48000:1"];
    usage_raw_rate: &["read", "-", "--raw", "s16le:4000:1"];
    usage_raw_for_a_file: &["read", "a.wav", "--raw", "s16le:48000:1"];
    usage_standard_input_twice: &["read", "-", "-"];
    usage_machine_missing: &["read", "a.wav", "--machine", "missing.toml"];
    usage_check_without_expectation: &["check", "a.wav"];
    usage_synth_without_output: &["synth", "--drawn", "3"];
    usage_synth_without_scene: &["synth", "-o", "out.wav"];
    usage_sheet_without_output: &["sheet", "a.wav"];
    usage_book_import_without_file: &["book", "import"];
    usage_scene_missing: &["synth", "missing.toml", "-o", "out.wav"];
    usage_expectation_empty: &["check", "a.wav", "--expect", "empty.toml"];
    usage_parquet_to_a_pipe: &["read", "a.wav", "--format", "parquet"];
    usage_parquet_to_standard_output: &["read", "a.wav", "--format", "parquet", "-o", "-"];
    usage_since_last_of_parquet: &["read", ".", "--format", "parquet", "-o", "out", "--since-last"];
    usage_rows_of_json: &["read", "a.wav", "--format", "json", "--rows", "clips"];
    usage_man_of_no_command: &["man", "weigh"];
    usage_profile_contradicts_itself: &["machine", "new", "--idle", "2700:3000", "--clutch-in", "2500"];
}

#[test]
fn a_wrong_profile_is_named_with_its_line_and_key() {
    let bench = Bench::new();
    bench.wav("a.wav", tone(1.0, 6_000.0, 0.5));
    bench.file(
        "p.toml",
        b"name = \"mine\"\n\n[speeds]\nidel = [2700, 3000]\n",
    );
    insta::assert_snapshot!(bench.run(&["read", "a.wav", "--machine", "p.toml"]));
}

#[test]
fn a_wrong_scene_is_named_with_its_line() {
    let bench = Bench::new();
    bench.file("scene.toml", b"seconds = 3.0\nloudness = 3\n");
    insta::assert_snapshot!(bench.run(&["synth", "scene.toml", "-o", "out.wav"]));
    assert!(!bench.path("out.wav").exists());
}

#[test]
fn a_file_name_cannot_steer_the_terminal() {
    let name = "a\u{1b}[2Jb.wav";
    let output = Bench::new().output(&["read", name]);
    assert!(!output.stderr.contains(&0x1b), "{}", told(&output));
    assert!(Path::new(name).extension().is_some());
}
