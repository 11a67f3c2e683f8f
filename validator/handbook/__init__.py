"""What do packs say, written as documents to read: the HACCP plan of a pack, and a page of every rule?"""
