//! Scenes that come with the program: those of the shipped demonstration, invented.

/// A scene.
#[derive(Debug)]
pub struct Ready {
    /// Its name on the command line.
    pub name: &'static str,
    /// What is heard.
    pub about: &'static str,
    /// The scene file.
    pub text: &'static str,
}

/// All of them.
pub const READY: [Ready; 7] = [
    Ready {
        name: "rich-then-clean",
        about: "for the ear: full throttle four-stroking, then clean, twice",
        text: include_str!("../../fixtures/demo/rich-then-clean.scene.toml"),
    },
    Ready {
        name: "trimmer-bog",
        about: "a trimmer whose speed sags when the throttle opens",
        text: include_str!("../../fixtures/demo/trimmer-bog.scene.toml"),
    },
    Ready {
        name: "trimmer-rich",
        about: "full throttle, much too rich",
        text: include_str!("../../fixtures/demo/trimmer-rich.scene.toml"),
    },
    Ready {
        name: "trimmer-set",
        about: "full throttle with a light burble",
        text: include_str!("../../fixtures/demo/trimmer-set.scene.toml"),
    },
    Ready {
        name: "trimmer-clean",
        about: "full throttle, no burble left",
        text: include_str!("../../fixtures/demo/trimmer-clean.scene.toml"),
    },
    Ready {
        name: "cutter-fast-idle",
        about: "a brush cutter whose blade turns at idle",
        text: include_str!("../../fixtures/demo/cutter-fast-idle.scene.toml"),
    },
    Ready {
        name: "saw-limiter",
        about: "a saw at its coil's ceiling, then below it",
        text: include_str!("../../fixtures/demo/saw-limiter.scene.toml"),
    },
];

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synth::Scene;

    #[test]
    fn every_ready_scene_is_a_scene() {
        for ready in READY {
            assert!(Scene::from_toml(ready.text).is_ok(), "{}", ready.name);
        }
    }
}
