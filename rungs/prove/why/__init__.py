"""Why a device stands as it does, and what would alter it: found, and checked by re-evaluation."""
