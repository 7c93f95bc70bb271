//! Puts a new site in place: whole, or not at all; nothing is ever overwritten.

use super::files::File;
use crate::engine::machine_timezone;
use rustix::fs::{Access, CWD, RenameFlags, access, renameat_with};
use rustix::io::Errno;
use std::fs;
use std::io;
use std::path::{Component, Path, PathBuf};
use undim_config::{Loaded, SITE_FILE, load};
use undim_intake::spool::hidden_name;

/// Why no site was made.
#[derive(Debug, thiserror::Error)]
pub(crate) enum MakeError {
    /// Something is in its place.
    #[error("{0}")]
    InPlace(String),
    /// The system.
    #[error("{path} could not be written: {error}; name a folder that may be written to")]
    Unwritable {
        /// What was to be written.
        path: PathBuf,
        /// What the system says.
        error: io::Error,
    },
    /// The answers make no site that can be used.
    #[error("these answers don't go together")]
    Contradiction(Box<Loaded>),
}

fn unwritable(path: &Path) -> impl FnOnce(io::Error) -> MakeError {
    let path = path.to_owned();
    move |error| MakeError::Unwritable { path, error }
}

/// Asks whether a site can be made there, before anybody answers a question; gives the folder that it is built in.
pub(crate) fn check_place(dir: &Path) -> Result<PathBuf, MakeError> {
    let shown = dir.display();
    let in_place = |text: String| Err(MakeError::InPlace(text));
    if dir.as_os_str().is_empty() {
        return in_place(
            "a folder has a name; type `undim new reef`, or `undim new .` for this one".to_owned(),
        );
    }
    match fs::metadata(dir) {
        Ok(found) if !found.is_dir() => {
            in_place(format!("{shown} is no folder; name one that is not there yet"))
        }
        Ok(_) => {
            let mut taken = Vec::new();
            for name in [SITE_FILE, "tanks", "devices", "upkeep"] {
                if fs::symlink_metadata(dir.join(name)).is_ok() {
                    taken.push(name);
                }
            }
            if taken.contains(&SITE_FILE) {
                return in_place(format!(
                    "{shown} is a site already, and nothing is ever overwritten; type `undim check --site {shown}`, or name another folder"
                ));
            }
            if let Some(name) = taken.first() {
                return in_place(format!(
                    "{shown} holds {name} already, and nothing is ever overwritten; name another folder"
                ));
            }
            may_write(dir)?;
            Ok(dir.to_owned())
        }
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            if fs::symlink_metadata(dir).is_ok() {
                return in_place(format!(
                    "{shown} is a link that leads nowhere; name another folder"
                ));
            }
            let above = match dir.components().next_back() {
                Some(Component::Normal(_)) => dir.parent(),
                _ => None,
            };
            let above = above.map_or(Path::new("."), |above| {
                if above.as_os_str().is_empty() {
                    Path::new(".")
                } else {
                    above
                }
            });
            if !above.is_dir() {
                return in_place(format!(
                    "there is no folder {} to make it in; type `mkdir -p {}` first",
                    above.display(),
                    above.display()
                ));
            }
            may_write(above)?;
            Ok(above.to_owned())
        }
        Err(error) => Err(unwritable(dir)(error)),
    }
}

fn may_write(folder: &Path) -> Result<(), MakeError> {
    access(folder, Access::WRITE_OK | Access::EXEC_OK).map_err(|error| unwritable(folder)(error.into()))
}

/// Makes the site, and gives what a check says of it.
pub(crate) fn make(dir: &Path, files: &[File]) -> Result<Loaded, MakeError> {
    let parent = check_place(dir)?;
    let is_there = parent == dir;
    let building = parent.join(hidden_name("new"));
    let made = build(&building, files).and_then(|loaded| {
        if is_there {
            move_in(&building, dir)?;
        } else {
            rename_to_free(&building, dir).map_err(|error| {
                if error.kind() == io::ErrorKind::AlreadyExists {
                    let shown = dir.display();
                    MakeError::InPlace(format!(
                        "{shown} was made by somebody else just now; look into it, or name another folder"
                    ))
                } else {
                    unwritable(dir)(error)
                }
            })?;
        }
        Ok(loaded)
    });
    if building.exists() {
        // Its own folder under a name of its own: nothing of anybody else's lies in it.
        let _ = fs::remove_dir_all(&building);
    }
    made
}

fn build(building: &Path, files: &[File]) -> Result<Loaded, MakeError> {
    fs::create_dir(building).map_err(unwritable(building))?;
    for file in files {
        let path = building.join(&file.path);
        let Some(text) = &file.text else {
            fs::create_dir_all(&path).map_err(unwritable(&path))?;
            continue;
        };
        if let Some(folder) = path.parent() {
            fs::create_dir_all(folder).map_err(unwritable(folder))?;
        }
        fs::write(&path, text).map_err(unwritable(&path))?;
    }
    let loaded = load(building, &machine_timezone());
    if loaded.has_mistakes() {
        return Err(MakeError::Contradiction(Box::new(loaded)));
    }
    Ok(loaded)
}

/// Moves everything into a folder that is there, the site file last: a folder without it is no site. What was
/// moved goes back if one can't.
fn move_in(building: &Path, dir: &Path) -> Result<(), MakeError> {
    let mut names: Vec<_> = fs::read_dir(building)
        .and_then(|found| {
            found
                .map(|entry| Ok(entry?.file_name()))
                .collect::<io::Result<_>>()
        })
        .map_err(unwritable(building))?;
    names.sort_by_key(|name| (name == SITE_FILE, name.clone()));
    let mut moved = Vec::new();
    for name in names {
        let to = dir.join(&name);
        if name == "inbox" && to.is_dir() {
            // An inbox that is there is as good.
            continue;
        }
        if let Err(error) = rename_to_free(&building.join(&name), &to) {
            for name in moved {
                let _ = fs::rename(dir.join(&name), building.join(&name));
            }
            return Err(unwritable(&to)(error));
        }
        moved.push(name);
    }
    Ok(())
}

/// Gives another name, unless that is taken.
fn rename_to_free(from: &Path, to: &Path) -> io::Result<()> {
    match renameat_with(CWD, from, CWD, to, RenameFlags::NOREPLACE) {
        // A file system that can't: nothing was there a moment ago.
        Err(Errno::INVAL | Errno::NOSYS | Errno::OPNOTSUPP) if fs::symlink_metadata(to).is_err() => {
            fs::rename(from, to)
        }
        renamed => Ok(renamed?),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn file(path: &str, text: &str) -> File {
        File {
            path: path.to_owned(),
            text: Some(text.to_owned()),
            about: String::new(),
        }
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn all_of_it_or_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let dir = folder.path().join("reef");
        let bad = [file("undim.toml", ""), file("tanks/a.toml", "nmae = 3\n")];
        assert!(matches!(make(&dir, &bad), Err(MakeError::Contradiction(_))));
        assert!(names(folder.path()).is_empty(), "{:?}", names(folder.path()));

        let good = [file("undim.toml", ""), file("tanks/a.toml", "name = \"A\"\n")];
        make(&dir, &good).unwrap();
        assert_eq!(names(&dir), ["tanks", "undim.toml"]);
        assert_eq!(names(folder.path()), ["reef"]);
        assert!(
            matches!(make(&dir, &good), Err(MakeError::InPlace(_))),
            "never overwritten"
        );
    }

    #[test]
    fn a_folder_that_is_there_keeps_what_it_holds() {
        let folder = tempfile::tempdir().unwrap();
        let dir = folder.path().to_owned();
        fs::write(dir.join("photo.jpg"), "x").unwrap();
        fs::create_dir(dir.join("inbox")).unwrap();
        fs::write(dir.join("inbox/may.csv"), "x").unwrap();
        let files = [
            file("undim.toml", ""),
            File {
                path: "inbox".to_owned(),
                text: None,
                about: String::new(),
            },
        ];
        make(&dir, &files).unwrap();
        assert_eq!(names(&dir), ["inbox", "photo.jpg", "undim.toml"]);
        assert_eq!(names(&dir.join("inbox")), ["may.csv"]);
    }
}
