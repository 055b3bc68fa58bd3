//! `--picture`: where the pictures of clips go, and how they get there.
use std::collections::HashMap;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use clap::builder::PossibleValue;
use clap::{Args, ValueEnum};

use super::exit::Outcome;
use super::inputs::Input;
use super::progress::Progress;
use super::read::{Done, gathered, gathered_with};
use super::trouble::Trouble;
use crate::capture::RawFormat;
use crate::machine::Profile;
use crate::report::{Course, Drawing, Format, Report, Spectrogram, Theme};

/// Flags of a picture.
#[derive(Debug, Args)]
pub struct PictureFlags {
    /// Draw what was heard into a file that ends in .svg or .png, or for several clips into a folder
    #[arg(long, value_name = "FILE|FOLDER")]
    pub picture: Option<PathBuf>,
    /// Colours of the picture [default: light as PNG; as SVG it follows the screen and prints light]
    #[arg(
        long,
        value_enum,
        value_name = "light|dark",
        hide_possible_values = true,
        requires = "picture"
    )]
    pub picture_theme: Option<Theme>,
}

impl ValueEnum for Theme {
    fn value_variants<'a>() -> &'a [Self] {
        &[Theme::Light, Theme::Dark]
    }

    fn to_possible_value(&self) -> Option<PossibleValue> {
        Some(match self {
            Theme::Light => PossibleValue::new("light").help("black on white"),
            Theme::Dark => PossibleValue::new("dark").help("white on black"),
        })
    }
}

/// A kind of file that a picture can be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Svg,
    Png,
}

impl Kind {
    fn of(path: &Path) -> Option<Kind> {
        let ending = path.extension()?.to_string_lossy().to_lowercase();
        match ending.as_str() {
            "svg" => Some(Kind::Svg),
            "png" => Some(Kind::Png),
            _ => None,
        }
    }
}

/// Where each picture goes.
pub struct Pictures {
    places: Vec<(Input, PathBuf)>,
    by_path: HashMap<PathBuf, usize>,
    theme: Option<Theme>,
}

impl Pictures {
    /// As the command line asks for it; none where it does not. A place that cannot be written is
    /// told before anything is read.
    pub fn plan(
        flags: &PictureFlags,
        inputs: impl Iterator<Item = Input>,
        several: bool,
    ) -> Result<Option<Pictures>, Trouble> {
        let Some(path) = &flags.picture else {
            return Ok(None);
        };
        let inputs: Vec<_> = inputs.collect();
        let named_as_folder = path.to_string_lossy().ends_with(['/', '\\']);
        let places = if path.is_dir() || named_as_folder || (several && no_ending(path)) {
            fs::create_dir_all(path)
                .map_err(|error| Trouble::output(&path.to_string_lossy(), &error))?;
            in_folder(path, inputs)
        } else if Kind::of(path).is_none() {
            return Err(Trouble::usage(
                format!("--picture {}: not a name of a picture", path.display()),
                "a name that ends in .svg or .png, or a folder that exists",
            ));
        } else if several {
            return Err(Trouble::usage(
                format!("--picture {}: one file for several clips", path.display()),
                "name a folder, as in `--picture pictures/`; each clip gets an SVG in it",
            ));
        } else {
            writable(path)?;
            inputs
                .into_iter()
                .map(|input| (input, path.clone()))
                .collect()
        };
        let same = |a: &Path, b: &Path| a.canonicalize().ok() == b.canonicalize().ok();
        for (input, place) in &places {
            if let Input::File(clip) = input
                && place.exists()
                && same(clip, place)
            {
                return Err(Trouble::usage(
                    "--picture names a clip that is to be read",
                    "name another file: the picture would take the place of the clip",
                ));
            }
        }
        let by_path = places
            .iter()
            .enumerate()
            .filter_map(|(at, (input, _))| match input {
                Input::File(path) => Some((path.clone(), at)),
                Input::Stream => None,
            });
        Ok(Some(Pictures {
            by_path: by_path.collect(),
            theme: flags.picture_theme,
            places,
        }))
    }

    fn place(&self, input: &Input) -> Option<&Path> {
        let at = match input {
            Input::File(path) => *self.by_path.get(path)?,
            Input::Stream => self
                .places
                .iter()
                .position(|(input, _)| *input == Input::Stream)?,
        };
        self.places.get(at).map(|(_, place)| place.as_path())
    }

    fn write(&self, place: &Path, course: &Course, report: &Report) -> Result<(), Trouble> {
        let drawing = Drawing::new(course, report);
        let bytes = match Kind::of(place) {
            Some(Kind::Png) => drawing.png(self.theme.unwrap_or(Theme::Light)),
            Some(Kind::Svg) | None => drawing.svg(self.theme).map(String::into_bytes),
        };
        let bytes =
            bytes.map_err(|error| Trouble::input(&error, error.hint(), Outcome::Unreadable))?;
        fs::write(place, bytes).map_err(|error| Trouble::output(&place.to_string_lossy(), &error))
    }
}

fn no_ending(path: &Path) -> bool {
    path.extension().is_none()
}

/// That a file could be written there.
fn writable(path: &Path) -> Result<(), Trouble> {
    let told = |error: io::Error| Trouble::output(&path.to_string_lossy(), &error);
    let folder = path
        .parent()
        .filter(|folder| !folder.as_os_str().is_empty());
    fs::metadata(folder.unwrap_or(Path::new("."))).map_err(told)?;
    Ok(())
}

/// A name for the picture of each clip: that of its file, and a number where two have the same.
fn in_folder(folder: &Path, inputs: Vec<Input>) -> Vec<(Input, PathBuf)> {
    let mut taken: HashMap<String, u32> = HashMap::new();
    let place = |input: Input| {
        let name = match &input {
            Input::File(path) => path
                .file_name()
                .map_or_else(|| "clip".into(), |name| name.to_string_lossy().into_owned()),
            Input::Stream => "standard-input".into(),
        };
        let count = taken.entry(name.clone()).or_default();
        *count += 1;
        let file = match *count {
            1 => format!("{name}.svg"),
            count => format!("{name}-{count}.svg"),
        };
        (input, folder.join(file))
    };
    inputs.into_iter().map(place).collect()
}

/// Reads one clip to its end and draws its picture where one is wanted. A picture that cannot be
/// written leaves the result as it is.
pub fn gathered_and_drawn(
    input: &Input,
    raw: Option<RawFormat>,
    machine: &Profile,
    format: Format,
    progress: &Progress,
    pictures: Option<&Pictures>,
) -> Result<Done, Trouble> {
    let Some((pictures, place)) =
        pictures.and_then(|pictures| Some((pictures, pictures.place(input)?)))
    else {
        return gathered(input, raw, machine, format, progress);
    };
    let mut spectrogram = Spectrogram::new();
    let done = gathered_with(
        input,
        raw,
        machine,
        format,
        progress,
        Some(&mut spectrogram),
    )?;
    let written = pictures.write(place, &spectrogram.finish(), &done.report);
    Ok(Done {
        picture: written.err(),
        ..done
    })
}
