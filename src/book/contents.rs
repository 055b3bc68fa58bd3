//! The whole book as plain JSON, and back.
use std::collections::{HashMap, HashSet};

use rusqlite::Connection;
use serde::{Deserialize, Serialize};

use super::error::BookError;
use super::file::Book;
use super::machine::{Machine, Tag};
use super::store::{all_visits, machines, put_machine, put_visit};
use super::visit::Visit;

/// Which layout of the JSON this is; a change that could break a reader gives a new name.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub enum Layout {
    /// The first.
    #[serde(rename = "engine-note/book/1")]
    Book1,
}

/// All that a book holds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Contents {
    /// Which layout this is.
    pub schema: Layout,
    /// The machines, by tag.
    pub machines: Vec<Machine>,
    /// The visits, in the order of their numbers.
    pub visits: Vec<Entry>,
}

/// A visit and whose it was.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Entry {
    /// The machine.
    pub machine: Tag,
    /// The visit.
    pub visit: Visit,
}

impl Entry {
    /// Its JSON, by which it is known again.
    fn word_for_word(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }
}

/// What an import brought.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Imported {
    /// Machines that the book did not know.
    pub machines: usize,
    /// Visits that it did not hold.
    pub visits: usize,
    /// Visits that it held already, word for word.
    pub known: usize,
    /// Machines that it knows otherwise; its own words stay.
    pub differing: Vec<Tag>,
}

impl Contents {
    /// From JSON.
    ///
    /// # Errors
    /// Where it is none, or not that of a book.
    pub fn from_json(text: &str) -> Result<Contents, BookError> {
        serde_json::from_str(text).map_err(|error| BookError::Json {
            reason: error.to_string().replace('\n', " "),
        })
    }

    /// As indented JSON, ending with a line break.
    pub fn to_json(&self) -> String {
        // Maps with string keys and finite numbers only: there is nothing that JSON cannot say.
        serde_json::to_string_pretty(self).unwrap_or_default() + "\n"
    }

    /// Whether it holds together and every value is possible.
    fn check(&self) -> Result<(), BookError> {
        let mut tags = HashSet::new();
        for machine in &self.machines {
            machine.check()?;
            if !tags.insert(&machine.tag) {
                return Err(BookError::Twice {
                    tag: machine.tag.to_string(),
                });
            }
        }
        for (at, entry) in self.visits.iter().enumerate() {
            if !tags.contains(&entry.machine) {
                return Err(BookError::Stray {
                    place: at + 1,
                    tag: entry.machine.to_string(),
                });
            }
            entry.visit.check()?;
        }
        Ok(())
    }
}

fn read(connection: &Connection) -> rusqlite::Result<Contents> {
    let visits = all_visits(connection)?;
    Ok(Contents {
        schema: Layout::Book1,
        machines: machines(connection)?,
        visits: visits
            .into_iter()
            .map(|(machine, visit)| Entry { machine, visit })
            .collect(),
    })
}

impl Book {
    /// All that it holds.
    ///
    /// # Errors
    /// Where the file cannot be read.
    pub fn contents(&self) -> Result<Contents, BookError> {
        let failed = |error| self.failed(&error);
        let transaction = self.connection.unchecked_transaction().map_err(failed)?;
        read(&transaction).map_err(failed)
    }

    /// Takes in what another book holds, all of it or nothing. What this book holds already, word
    /// for word, is not taken twice; a machine that it knows keeps the class and the profile that
    /// it has here.
    ///
    /// # Errors
    /// Where the contents do not hold together, or the file cannot be written.
    pub fn import(&mut self, contents: &Contents) -> Result<Imported, BookError> {
        contents.check()?;
        self.write(|transaction| {
            let own = read(transaction)?;
            let mut done = Imported::default();
            let mut ids = HashMap::new();
            for machine in &contents.machines {
                let known = own.machines.iter().find(|known| known.tag == machine.tag);
                match known {
                    Some(known) if known != machine => done.differing.push(machine.tag.clone()),
                    Some(_) => {}
                    None => done.machines += 1,
                }
                ids.insert(
                    &machine.tag,
                    put_machine(transaction, known.unwrap_or(machine))?,
                );
            }
            // A visit that stands twice in the file and once here is taken once more.
            let mut held: HashMap<String, usize> = HashMap::new();
            for entry in &own.visits {
                *held.entry(entry.word_for_word()).or_default() += 1;
            }
            for entry in &contents.visits {
                if let Some(count) = held
                    .get_mut(&entry.word_for_word())
                    .filter(|count| **count > 0)
                {
                    *count -= 1;
                    done.known += 1;
                    continue;
                }
                let Some(id) = ids.get(&entry.machine) else {
                    continue;
                };
                put_visit(transaction, *id, None, &entry.visit)?;
                done.visits += 1;
            }
            Ok(done)
        })
    }
}
