"""Named, recorded schema migrations, one SQL file each."""
