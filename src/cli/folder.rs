//! Folders of clips, and which machine each clip is of.
use std::collections::HashMap;
use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};

use super::args::Known;
use super::inputs::clips_in;
use super::profile::{known, load, over};
use super::trouble::Trouble;
use crate::book::Digest;
use crate::machine::Profile;

/// The profile of the machine whose clips lie in a folder.
const PROFILE: &str = "machine.toml";

/// A machine of which there are clips.
pub struct KnownMachine {
    /// By which it goes in a summary.
    pub tag: String,
    /// What is known of it, flags included.
    pub profile: Profile,
    /// Of both.
    pub digest: Digest,
}

/// A clip in a folder.
pub struct FolderClip {
    /// Its path, from the folder as it was given.
    pub path: PathBuf,
    /// How much of the path is the folder as it was given.
    root: usize,
    /// Which of the machines.
    pub machine: usize,
}

impl FolderClip {
    /// The whole path as a key.
    pub fn key(&self) -> &[u8] {
        self.path.as_os_str().as_encoded_bytes()
    }

    /// The path below the folder as a key.
    pub fn key_below(&self) -> &[u8] {
        &self.key()[self.root..]
    }
}

/// What the folders hold.
#[derive(Default)]
pub struct Folders {
    /// In the order of their names; what leads to nothing keeps its place with its trouble.
    pub clips: Vec<Result<FolderClip, Trouble>>,
    /// The machines that they are of.
    pub machines: Vec<KnownMachine>,
}

/// Walks folders.
///
/// # Errors
/// Where the flags or the profile that they name are wrong.
pub fn folders(roots: &[PathBuf], flags: &Known) -> Result<Folders, Trouble> {
    let given = known(flags)?;
    let mut found = Folders::default();
    for root in roots {
        let mut of_folder: HashMap<PathBuf, Option<usize>> = HashMap::new();
        let mut profiles: HashMap<PathBuf, Result<Profile, Trouble>> = HashMap::new();
        let several = roots.len() > 1;
        let (clips, machines) = (&mut found.clips, &mut found.machines);
        clips_in(root, &mut |clip| {
            let path = match clip {
                Ok(path) => path,
                Err(trouble) => return clips.push(Err(trouble)),
            };
            let folder = path.parent().unwrap_or(root).to_path_buf();
            let machine = of_folder.entry(folder).or_insert_with_key(|folder| {
                let profile = if flags.machine.is_some() {
                    Ok(given.clone())
                } else {
                    nearest(folder, root, &given, flags, &mut profiles)
                };
                match profile {
                    Ok(profile) => {
                        machines.push(machine(profile, folder, root, several));
                        Some(machines.len() - 1)
                    }
                    Err(trouble) => {
                        // Once for the folder; its clips would be read with the wrong figures.
                        clips.push(Err(trouble));
                        None
                    }
                }
            });
            if let Some(machine) = *machine {
                let below = path.strip_prefix(root).unwrap_or(&path);
                let root = path.as_os_str().len() - below.as_os_str().len();
                clips.push(Ok(FolderClip {
                    path,
                    root,
                    machine,
                }));
            }
        });
    }
    Ok(found)
}

/// The profile in a folder or in the nearest one above it, up to the root; that of the flags alone
/// where there is none.
fn nearest(
    folder: &Path,
    root: &Path,
    given: &Profile,
    flags: &Known,
    profiles: &mut HashMap<PathBuf, Result<Profile, Trouble>>,
) -> Result<Profile, Trouble> {
    if let Some(profile) = profiles.get(folder) {
        return profile.clone();
    }
    let file = folder.join(PROFILE);
    let profile = if file.is_file() {
        load(&file).and_then(|profile| over(profile, flags))
    } else {
        match folder.parent() {
            Some(above) if folder != root => nearest(above, root, given, flags, profiles),
            _ => Ok(given.clone()),
        }
    };
    profiles.insert(folder.into(), profile.clone());
    profile
}

fn machine(profile: Profile, folder: &Path, root: &Path, several: bool) -> KnownMachine {
    let tag = profile.name.clone().unwrap_or_else(|| {
        let below = folder.strip_prefix(root).unwrap_or(folder);
        let above = (several || below.as_os_str().is_empty()).then(|| own_name(root));
        let names = below.iter().map(|name| name.to_string_lossy().into_owned());
        above.into_iter().chain(names).collect::<Vec<_>>().join("/")
    });
    let mut hash = Sha256::new();
    hash.update(profile.to_toml());
    hash.update([0]);
    hash.update(&tag);
    KnownMachine {
        tag,
        profile,
        digest: Digest(hash.finalize().into()),
    }
}

/// The name of a folder, of `.` and `..` too.
fn own_name(folder: &Path) -> String {
    let whole = folder.canonicalize();
    let name = whole.as_deref().unwrap_or(folder).file_name();
    name.map_or("/".into(), |name| name.to_string_lossy().into_owned())
}
