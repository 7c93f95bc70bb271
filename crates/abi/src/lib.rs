//! The frozen C contract of an importer.
