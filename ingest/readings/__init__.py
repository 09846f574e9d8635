"""What each stored reading counts as: family, machine, pass, position, part."""
