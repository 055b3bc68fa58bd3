//! Where the book lies when nobody says otherwise.
use std::path::PathBuf;

use etcetera::BaseStrategy;

use super::error::BookError;

/// The book in the user's data folder: `$XDG_DATA_HOME/engine-note/book.sqlite3` (by default below
/// `~/.local/share`), or what macOS and Windows have in its place.
///
/// # Errors
/// Where the system names no such folder.
pub fn usual_place() -> Result<PathBuf, BookError> {
    let folders =
        etcetera::base_strategy::choose_native_strategy().map_err(|_| BookError::NoFolder)?;
    Ok(folders.data_dir().join("engine-note").join("book.sqlite3"))
}
