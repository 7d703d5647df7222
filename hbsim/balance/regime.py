"""x"""
def by_clusters_is_quicker(n, rows, devices):
    return False
