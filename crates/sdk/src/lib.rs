//! What an importer author uses: a trait, an export macro, a panic barrier.
