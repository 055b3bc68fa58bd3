//! A machine in the book.
use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};

use super::error::BookError;
use crate::machine::{Class, Profile};

/// Most characters of a tag.
const LONGEST: usize = 100;

/// The workshop's own name for a machine: what stands on it or on its label.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Tag(String);

impl Tag {
    /// For a machine that nobody named.
    pub fn unnamed() -> Tag {
        Tag("not named".into())
    }

    /// As text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl FromStr for Tag {
    type Err = BookError;

    fn from_str(text: &str) -> Result<Tag, BookError> {
        let length = text.chars().count();
        let fits = (1..=LONGEST).contains(&length)
            && text.trim() == text
            && !text.chars().any(char::is_control);
        if fits {
            Ok(Tag(text.into()))
        } else {
            Err(BookError::Tag)
        }
    }
}

impl TryFrom<String> for Tag {
    type Error = BookError;

    fn try_from(text: String) -> Result<Tag, BookError> {
        text.parse()
    }
}

impl From<Tag> for String {
    fn from(tag: Tag) -> String {
        tag.0
    }
}

impl fmt::Display for Tag {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// A machine in the book.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Machine {
    /// Its tag, of which the book has only one.
    pub tag: Tag,
    /// Its class.
    #[serde(default)]
    pub class: Option<Class>,
    /// What is known of it.
    #[serde(default)]
    pub profile: Profile,
}

impl Machine {
    /// A machine of which nothing else is known yet.
    pub fn new(tag: Tag) -> Machine {
        Machine {
            tag,
            class: None,
            profile: Profile::default(),
        }
    }

    pub(super) fn check(&self) -> Result<(), BookError> {
        self.profile.validate().map_err(|error| BookError::Profile {
            tag: self.tag.to_string(),
            reason: error.to_string(),
        })
    }
}
