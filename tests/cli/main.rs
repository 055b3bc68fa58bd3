//! The real program from outside: exit code, standard output and standard error in one snapshot.
//! Snapshots hold words; where a text carries figures that we measured, they are replaced by `#`.
mod bench;
mod broken;
mod clips;
mod folder;
mod help;
mod interrupted;
mod output;
mod profiles;
mod progress;
mod refusals;
mod signals;
