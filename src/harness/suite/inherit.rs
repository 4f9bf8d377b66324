//! What a scenario file inherits from the folders above it: its laws.

use crate::laws::FILE_NAME;
use std::path::{Path, PathBuf};

/// The file of laws that a scenario file inherits: in its own folder, or in the nearest folder
/// above that has one.
pub(super) fn laws_for(scenario: &Path) -> Option<PathBuf> {
    let folder = match scenario.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    // As the user named it where it lies there, so that messages name it the same way.
    let named = folder.ancestors().map(Path::to_owned);
    let above = folder.canonicalize().ok();
    let above = above
        .iter()
        .flat_map(|folder| folder.ancestors().map(Path::to_owned));
    let folders = named
        .filter(|folder| !folder.as_os_str().is_empty())
        .chain(above);
    folders
        .map(|folder| match folder.to_str() {
            Some(".") => PathBuf::from(FILE_NAME),
            _ => folder.join(FILE_NAME),
        })
        .find(|file| file.is_file())
}

#[cfg(test)]
mod tests {
    use super::*;

    const LAWS: &str = "[[law]]\nname = \"n\"\nformula = \"true\"\nbecause = \"b\"\n";

    #[test]
    fn laws_are_inherited_from_the_nearest_folder() {
        let root = tempfile::tempdir().unwrap();
        let below = root.path().join("a/b");
        std::fs::create_dir_all(&below).unwrap();
        let file = below.join("x.toml");
        assert_eq!(
            laws_for(&file),
            None,
            "a folder without laws, and none above"
        );
        std::fs::write(root.path().join(FILE_NAME), LAWS).unwrap();
        assert_eq!(laws_for(&file), Some(root.path().join(FILE_NAME)));
        std::fs::write(below.join(FILE_NAME), LAWS).unwrap();
        assert_eq!(laws_for(&file), Some(below.join(FILE_NAME)));
    }
}
