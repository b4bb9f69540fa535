"""Quality's acts: holds and releases, and the cupping of what was set aside."""
