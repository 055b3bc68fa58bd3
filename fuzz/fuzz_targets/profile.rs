//! Text files from outside: profile, scene, expectation. What is accepted can be written and read
//! back; what is refused says why and what to do.
#![no_main]
use engine_note::machine::Profile;
use engine_note::report::Expectation;
use engine_note::synth::Scene;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    let Ok(text) = std::str::from_utf8(bytes) else {
        return;
    };
    match Profile::from_toml(text) {
        Ok(profile) => {
            profile
                .check()
                .iter()
                .for_each(|oddity| assert!(!oddity.to_string().is_empty()));
            assert_eq!(Profile::from_toml(&profile.to_toml()), Ok(profile));
        }
        Err(error) => assert!(!error.to_string().is_empty() && !error.hint().is_empty()),
    }
    match Scene::from_toml(text) {
        Ok(scene) => {
            if let Ok(written) = scene.to_toml() {
                assert!(Scene::from_toml(&written).is_ok());
            }
        }
        Err(error) => assert!(!error.to_string().is_empty() && !error.hint().is_empty()),
    }
    if let Err(error) = Expectation::from_toml(text) {
        assert!(!error.to_string().is_empty() && !error.hint().is_empty());
    }
});
