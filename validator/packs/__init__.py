"""Rule packs: their models, how they are read and layered, checked for faults and tried on their own cases."""
