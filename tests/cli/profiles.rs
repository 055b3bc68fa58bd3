//! Machine profiles from the command line.
use super::bench::{Bench, words};

#[test]
fn every_field_of_a_profile_is_a_flag() {
    let bench = Bench::new();
    let output = bench.output(&[
        "machine",
        "new",
        "--name",
        "the \"blue\" one",
        "--use",
        "brush blade",
        "--cycle",
        "two-stroke",
        "--cylinders",
        "1",
        "--carburetor",
        "barrel-valve",
        "--coil",
        "limited",
        "--idle",
        "2700:3000",
        "--clutch-in",
        "3900",
        "--full-throttle",
        "9500:12000",
        "--limiter",
        "12500",
        "--speed-range",
        "1500:15000",
        "--source",
        "maker",
        "--clutch-in-source",
        "measured",
        "--limiter-source",
        "heard last year",
    ]);
    bench.file("p.toml", &output.stdout);
    let profile: toml::Table = String::from_utf8(output.stdout).unwrap().parse().unwrap();
    let expected: toml::Table = "
        name = 'the \"blue\" one'
        use = 'brush blade'
        cycle = 'two-stroke'
        cylinders = 1
        carburetor = 'barrel-valve'
        coil = 'limited'
        [speeds]
        idle = [2700, 3000]
        clutch_in = 3900
        full_throttle = [9500, 12000]
        limiter = 12500
        search = [1500, 15000]
        [sources]
        idle = 'maker'
        clutch_in = 'measured'
        full_throttle = 'maker'
        limiter = 'heard last year'
    "
    .parse()
    .unwrap();
    assert_eq!(profile, expected);
    insta::assert_snapshot!("machine_show", bench.run(&["machine", "show", "p.toml"]));
    insta::assert_snapshot!(
        "machine_check_sound",
        bench.run(&["machine", "check", "p.toml"])
    );
}

#[test]
fn a_class_fills_in_what_is_usual_and_says_so() {
    let bench = Bench::new();
    let output = bench.output(&[
        "machine",
        "new",
        "--class",
        "trimmer",
        "--full-throttle",
        "9000:9500",
        "--source",
        "maker",
    ]);
    insta::assert_snapshot!(
        "machine_new_class",
        words(&String::from_utf8(output.stderr.clone()).unwrap())
    );
    bench.file("p.toml", &output.stdout);
    let told = bench.run(&["machine", "check", "p.toml"]);
    assert!(told.starts_with("code: 0\n"), "{told}");
    assert!(
        told.contains("common practice") && !told.contains("full_throttle is only typical"),
        "{told}"
    );
}
